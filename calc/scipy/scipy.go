// Package scipy lets tests compare with the reference library SciPy. Only
// tests import it.
package scipy

import (
	"encoding/json"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// python is Debian's, which Debian's python3-scipy belongs to.
const python = "/usr/bin/python3"

// Run runs a Python program with in as x, and numpy as np and scipy at hand,
// and decodes what it prints as JSON into out. Where SciPy is not installed the
// test is skipped, or fails if the environment says CI.
func Run(t *testing.T, program string, in, out any) {
	t.Helper()
	if err := exec.Command(python, "-c", "import scipy").Run(); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatalf("python3-scipy is not installed: %v", err)
		}
		t.Skip("python3-scipy is not installed")
	}
	data, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	const head = "import sys, json\nimport numpy as np\nimport scipy.stats, scipy.optimize\nx = json.load(sys.stdin)\n"
	cmd := exec.Command(python, "-c", head+program)
	cmd.Stdin = strings.NewReader(string(data))
	cmd.Stderr = os.Stderr
	got, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(got, out); err != nil {
		t.Fatalf("%v in %q", err, got)
	}
}
