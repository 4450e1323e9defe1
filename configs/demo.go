package configs

import (
	"embed"
	"fmt"
)

//go:embed demo-triple.yaml demo-single.yaml
var demos embed.FS

// Demo returns the configuration file of an invented boat: "triple" (three
// diesel engines) or "single" (one petrol outboard).
func Demo(name string) ([]byte, error) {
	text, err := demos.ReadFile("demo-" + name + ".yaml")
	if err != nil {
		return nil, fmt.Errorf("no demo boat %q: there are triple and single", name)
	}
	return text, nil
}
