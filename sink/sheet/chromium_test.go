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
	"strings"
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

// The first page holds the answers, the cautions and all of a day's many steps;
// plots and details follow on pages of their own, on A4 and on Letter.
func TestPrintsOnPaper(t *testing.T) {
	for paper, size := range map[string]string{"A4": "A4", "Letter": "letter"} {
		t.Run(paper, func(t *testing.T) {
			dir := t.TempDir()
			r, tl := inventedDay(3)
			for i := range 14 { // 23 steps, some with two lines
				s := r.Steps[2]
				s.ID, s.RPM = 10+i, 3100+20*float64(i)
				s.CurrentCorrected = i%5 != 0
				r.Steps = append(r.Steps, s)
			}
			page := regexp.MustCompile(`@page\{`).ReplaceAllString(render(t, r, tl), "@page{size:"+size+";")
			writeFile(t, filepath.Join(dir, "sheet.html"), page)
			pdf := filepath.Join(dir, "sheet.pdf")
			chromium(t, dir, "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+filepath.Join(dir, "sheet.html"))
			content, err := os.ReadFile(pdf)
			if err != nil {
				t.Fatal(err)
			}
			pages := len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(content, -1))
			if pages < 6 || pages > 10 {
				t.Errorf("%d pages, want the answers, the plots and four to eight of details", pages)
			}
			first := firstPage(t, pdf)
			for _, want := range []string{"Top speed", "Conditions", "kill cord", "3360", "A dash is a figure"} {
				if !strings.Contains(first, want) {
					t.Errorf("%q is not on the first page", want)
				}
			}
			if strings.Contains(first, "against speed") {
				t.Error("the plots over speed begin on the first page")
			}
		})
	}
}

// firstPage reads the text of a PDF's first page with poppler's pdftotext.
func firstPage(t *testing.T, pdf string) string {
	t.Helper()
	path, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("pdftotext is not installed (Debian package poppler-utils)")
		}
		t.Skip("pdftotext is not installed")
	}
	text, err := exec.Command(path, "-l", "1", pdf, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(strings.Fields(string(text)), " ")
}
