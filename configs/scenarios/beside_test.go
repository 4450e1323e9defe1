package scenarios

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A base that is not built in is looked for in the folder of the scenario, and
// from no other place.
func TestBaseBesideTheFile(t *testing.T) {
	path := write(t, "own.yaml", "base: other\nname: own\n")
	if err := os.WriteFile(filepath.Join(filepath.Dir(path), "other.yaml"), []byte("base: installation\nname: other\nplace: {depth_m: 77}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	text, err := Load(path)
	if err != nil || !strings.Contains(string(text), "depth_m: 77") || !strings.Contains(string(text), "name: own") {
		t.Errorf("%v %s", err, text)
	}
}
