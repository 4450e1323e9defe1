package sheet

import (
	"bytes"
	"context"
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"
)

// chromium runs the browser without a window and returns what it writes. It is
// skipped where there is none, except in CI.
func chromium(t *testing.T, dir string, args ...string) []byte {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("chromium is not installed")
		}
		t.Skip("chromium is not installed")
	}
	profile, err := os.MkdirTemp("", "sheet-profile-")
	if err != nil {
		t.Fatal(err)
	}
	// The browser's helpers may still be writing: what cannot be removed is left.
	t.Cleanup(func() { os.RemoveAll(profile) })
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, path, append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
		"--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync",
		"--disable-dev-shm-usage", "--user-data-dir=" + profile}, args...)...)
	cmd.Dir = dir
	cmd.WaitDelay = 5 * time.Second
	var notes bytes.Buffer
	cmd.Stderr = &notes
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("chromium: %v\n%s", err, notes.Bytes())
	}
	return out
}

func writeFile(t *testing.T, path, content string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
}

// The widest thing on a telephone 360 px wide is the page itself: wide tables
// scroll inside their own box. The page is shown in a frame of that width,
// since a browser's window does not get so narrow.
func TestNoSidewaysScrollingOnAPhone(t *testing.T) {
	for name, n := range map[string]int{"three engines": 3, "eight engines": 8} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			r, tl := inventedDay(n)
			r.Vessel.Name = "A_boat_with_a_name_that_has_no_place_to_break_anywhere_in_it"
			r.Devices[0].Model = r.Vessel.Name
			writeFile(t, filepath.Join(dir, "frame.html"), fmt.Sprintf(`<!DOCTYPE html><p id="width">none</p>
<iframe style="width:360px;height:700px;border:0" srcdoc="%s"></iframe>
<script>onload = () => {
  const page = document.querySelector("iframe").contentDocument.documentElement
  document.getElementById("width").textContent = page.scrollWidth + " of " + page.clientWidth
}</script>`, html.EscapeString(render(t, r, tl))))
			dom := chromium(t, dir, "--dump-dom", "file://"+filepath.Join(dir, "frame.html"))
			m := regexp.MustCompile(`<p id="width">(\d+) of (\d+)</p>`).FindSubmatch(dom)
			if m == nil {
				t.Fatalf("no width was measured: %.300s", dom)
			}
			width, _ := strconv.Atoi(string(m[1]))
			room, _ := strconv.Atoi(string(m[2]))
			if room < 300 || width > room {
				t.Errorf("the page is %d px wide in %d px", width, room)
			}
		})
	}
}
