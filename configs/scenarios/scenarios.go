// Package scenarios holds the days that can be simulated without any file at
// hand. All boats, names and figures in them are invented.
package scenarios

import (
	"embed"
	"fmt"
	"io/fs"
	"os"
	"strings"
)

//go:embed *.yaml
var files embed.FS

// Load returns the text of a scenario: the built-in one of that name, with or
// without its ending .yaml, or otherwise the file at that path.
func Load(nameOrPath string) ([]byte, error) {
	if text, err := files.ReadFile(strings.TrimSuffix(nameOrPath, ".yaml") + ".yaml"); err == nil {
		return text, nil
	}
	text, err := os.ReadFile(nameOrPath)
	if err != nil {
		return nil, fmt.Errorf("scenario: %w; built in are %s", err, strings.Join(Names(), ", "))
	}
	return text, nil
}

// Names lists the built-in scenarios.
func Names() []string {
	var names []string
	found, _ := fs.Glob(files, "*.yaml") // a constant pattern cannot fail
	for _, f := range found {
		names = append(names, strings.TrimSuffix(f, ".yaml"))
	}
	return names
}
