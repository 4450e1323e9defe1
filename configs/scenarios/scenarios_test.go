package scenarios

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

func write(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// A scenario with a base says only what differs: keys are laid over keys, lists
// replace lists, and the base is not among the keys.
func TestBaseIsLaidUnder(t *testing.T) {
	path := write(t, "own.yaml", "base: installation\nname: own\nplace: {depth_m: 99}\nengines: {names: [one]}\n")
	text, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Base, Name string
		Place      struct {
			Depth     float64 `yaml:"depth_m"`
			Latitude  float64 `yaml:"latitude_deg"`  // of the base's base
			Variation float64 `yaml:"variation_deg"` // of the base
		}
		Engines struct {
			Names []string
			Rated float64 `yaml:"rated_rpm"`
		}
		Script []map[string]any
	}
	if err := yaml.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	if got.Base != "" || got.Name != "own" || got.Place.Depth != 99 || got.Place.Latitude != 50.2 || got.Place.Variation != 6.5 ||
		len(got.Engines.Names) != 1 || got.Engines.Rated != 3000 || len(got.Script) == 0 {
		t.Errorf("%+v", got)
	}
}

func TestBaseThatIsNone(t *testing.T) {
	if _, err := Load(write(t, "a.yaml", "base: no-such-day\n")); err == nil || !strings.Contains(err.Error(), "a.yaml: base: ") {
		t.Errorf("%v", err)
	}
	if _, err := Load(write(t, "b.yaml", "base: [1]\n")); err == nil || !strings.Contains(err.Error(), "name of another scenario") {
		t.Errorf("%v", err)
	}
	loop := filepath.Join(t.TempDir(), "c.yaml")
	if err := os.WriteFile(loop, []byte("base: "+loop+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(loop); err == nil || !strings.Contains(err.Error(), "deep") {
		t.Errorf("a base of itself: %v", err)
	}
}
