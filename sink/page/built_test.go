package page

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// The files that are served are those that the sources in web give.
func TestAssetsAreBuiltFromTheirSources(t *testing.T) {
	_, err := exec.LookPath("node")
	if _, missing := os.Stat("web/node_modules/esbuild"); err != nil || missing != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("node or the packages of sink/page/web are missing: run .ci/browser install")
		}
		t.Skip("node or the packages of sink/page/web are missing")
	}
	fresh := t.TempDir()
	if out, err := exec.CommandContext(t.Context(), "node", "web/build.mjs", fresh).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	built, committed := readAll(t, fresh), readAll(t, "assets")
	if len(built) < 5 {
		t.Fatalf("only %d files were built", len(built))
	}
	for name, text := range built {
		if !bytes.Equal(text, committed[name]) {
			t.Errorf("assets/%s is not what its sources give: run npm run build in sink/page/web and commit", name)
		}
	}
	for name := range committed {
		if built[name] == nil {
			t.Errorf("assets/%s comes from no source", name)
		}
	}
}

func readAll(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	files := make(map[string][]byte)
	names, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		files[filepath.Base(name)] = text
	}
	return files
}
