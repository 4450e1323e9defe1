package sheet

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/sink/results"
)

// printed writes the sheet as PDF to a file.
func printed(t *testing.T, r *results.Results, tl *results.Timeline, p Paper) string {
	t.Helper()
	var b bytes.Buffer
	err := WritePDF(t.Context(), &b, r, tl, p)
	if errors.Is(err, ErrNoBrowser) && os.Getenv("CI") != "true" {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "sheet.pdf")
	writeFile(t, path, b.String())
	return path
}

// poppler runs one of poppler's tools. It is skipped where there is none,
// except in CI.
func poppler(t *testing.T, tool string, args ...string) []byte {
	t.Helper()
	path, err := exec.LookPath(tool)
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed (Debian package poppler-utils)", tool)
		}
		t.Skipf("%s is not installed", tool)
	}
	out, err := exec.Command(path, args...).Output()
	if err != nil {
		t.Fatalf("%s: %v", tool, err)
	}
	return out
}

// pdfPage is a page by pdftotext: its words and where they stand, in points.
type pdfPage struct {
	Width  float64   `xml:"width,attr"`
	Height float64   `xml:"height,attr"`
	Words  []pdfWord `xml:"word"`
}

type pdfWord struct {
	Left   float64 `xml:"xMin,attr"`
	Top    float64 `xml:"yMin,attr"`
	Right  float64 `xml:"xMax,attr"`
	Bottom float64 `xml:"yMax,attr"`
	Text   string  `xml:",chardata"`
}

func (p *pdfPage) text() string {
	var words []string
	for _, w := range p.Words {
		words = append(words, w.Text)
	}
	return strings.Join(words, " ")
}

func pagesOf(t *testing.T, pdf string) []pdfPage {
	t.Helper()
	var doc struct {
		Pages []pdfPage `xml:"body>doc>page"`
	}
	d := xml.NewDecoder(bytes.NewReader(poppler(t, "pdftotext", "-bbox", pdf, "-")))
	d.Strict, d.Entity = false, xml.HTMLEntity
	if err := d.Decode(&doc); err != nil {
		t.Fatal(err)
	}
	return doc.Pages
}

const (
	sideMargin = 12 * 72 / 25.4 // pt, as in the style
	topMargin  = 9 * 72 / 25.4
	footMargin = 6 * 72 / 25.4 // what printers leave free (common practice, no source)
)

// wellPrinted checks what holds for every sheet: paper, running foot, no word
// beyond the margins, none over another.
func wellPrinted(t *testing.T, pages []pdfPage, p Paper) {
	t.Helper()
	width, height := 595.0, 842.0 // ISO 216, in points
	if p == Letter {
		width, height = 612, 792 // ANSI Y14.1, in points
	}
	for n := range pages {
		page := &pages[n]
		if abs(page.Width-width) > 1 || abs(page.Height-height) > 1 {
			t.Errorf("page %d is %g by %g, not %s", n+1, page.Width, page.Height, p)
		}
		if foot := fmt.Sprintf("page %d of %d", n+1, len(pages)); !strings.Contains(page.text(), foot) {
			t.Errorf("page %d has no %q", n+1, foot)
		}
		for i, w := range page.Words {
			if w.Left < sideMargin-1 || w.Right > width-sideMargin+1 || w.Top < topMargin-1 || w.Bottom > height-footMargin {
				t.Errorf("page %d: %q stands beyond the margins, from %.0f to %.0f and %.0f to %.0f", n+1, w.Text, w.Left, w.Right, w.Top, w.Bottom)
			}
			for _, o := range page.Words[i+1:] {
				if min(w.Right, o.Right)-max(w.Left, o.Left) > 1 && min(w.Bottom, o.Bottom)-max(w.Top, o.Top) > 0.4*min(w.Bottom-w.Top, o.Bottom-o.Top) {
					t.Errorf("page %d: %q and %q stand over each other", n+1, w.Text, o.Text)
				}
			}
		}
	}
}

// cautionHeight is that of a word's box, in points, in the heading of the
// cautions, set in 8.2 pt.
const cautionHeight = 9.16

func abs(x float64) float64 { return max(x, -x) }

// usualDay has so many steps.
func usualDay(engines, steps int) (*results.Results, *results.Timeline) {
	r, tl := inventedDay(engines)
	for i := len(r.Steps); i < steps; i++ {
		s := r.Steps[i%9]
		s.ID, s.RPM, s.CurrentCorrected = i+1, 3100+20*float64(i), i%5 != 0
		r.Steps = append(r.Steps, s)
	}
	for i := range r.Windows {
		r.Windows[i].Frames = &results.FrameRange{First: int64(1_000_000 + 9000*i), Last: int64(1_008_000 + 9000*i)}
	}
	return r, tl
}

// The first page holds the whole answer on either paper and in either system of
// units: boat, conditions and weight, answers, every step, the three curves,
// cautions and limits. The details follow, and the last page tells method and
// provenance.
func TestThePDFAnswersOnItsFirstPage(t *testing.T) {
	for _, c := range []struct {
		paper Paper
		units string
		steps int
	}{{A4, "metric", 12}, {Letter, "us", 12}, {A4, "us", 22}, {Letter, "metric", 22}} {
		t.Run(fmt.Sprintf("%s, %s, %d steps", c.paper, c.units, c.steps), func(t *testing.T) {
			r, tl := usualDay(3, c.steps)
			r.Trial.Units = c.units
			pages := pagesOf(t, printed(t, r, tl, c.paper))
			wellPrinted(t, pages, c.paper)
			if len(pages) < 6 || len(pages) > 10 {
				t.Errorf("%d pages", len(pages))
			}
			first := pages[0].text()
			want := []string{"Demo boat A (invented)", "Sea trial 2 · Invented Sound", "Top speed", "Best economy on the plane", "Cruise at 80 % load",
				"Conditions", "Wind", "Sea", "Depth", "Current", "Test weight", "Total", "Speed, kn, against rpm", "kill cord",
				map[string]string{"metric": "Burn, L/h, against rpm", "us": "Burn, US gal/h, against rpm"}[c.units],
				map[string]string{"metric": "Economy, nm/L, against rpm", "us": "Economy, nm/US gal, against rpm"}[c.units],
				"A dash is a figure"}
			if c.steps <= 12 { // of more, on Letter, these go on overleaf
				want = append(want, "Limits of these figures", "The paddle wheel reads 3 % low.", "No planing threshold.")
			}
			for _, s := range r.Steps {
				want = append(want, fixed(s.RPM, 0))
			}
			wants(t, "first page", first, want...)
			if strings.Contains(first, "over the day") {
				t.Error("the details begin on the first page")
			}
			wants(t, "last page", pages[len(pages)-1].text(), "How the figures were made", "NIST SP 811", "Where the figures come from", "logd test", r.Quality.FramesHash, "Frames of each window", "1 000 000–1 008 000")
		})
	}
}

// Whatever the day was like, nothing is cut off, and the first page has the
// cautions.
func TestUnusualDaysInPrint(t *testing.T) {
	long := strings.Repeat("Exceedingly long name of a boat that somebody thought of ", 3)
	for name, day := range map[string]func() (*results.Results, *results.Timeline){
		"one engine":    func() (*results.Results, *results.Timeline) { return usualDay(1, 9) },
		"eight engines": func() (*results.Results, *results.Timeline) { return usualDay(8, 12) },
		"no fuel":       func() (*results.Results, *results.Timeline) { return withoutFuel(3) },
		"empty":         func() (*results.Results, *results.Timeline) { return &results.Results{}, nil },
		"forty steps":   func() (*results.Results, *results.Timeline) { return usualDay(3, 40) },
		"amended":       amendedDay,
		"long names": func() (*results.Results, *results.Timeline) {
			r, tl := usualDay(3, 12)
			r.Vessel.Name, r.Trial.Name, r.Trial.Place = long, long, strings.Repeat("x", 150)
			r.Devices[0].Model, r.Devices[0].Serial = long, strings.Repeat("y", 80)
			r.Findings = append(r.Findings, results.Finding{What: strings.Repeat("z", 200), Meaning: long})
			r.Steps[3].Note = long
			return r, tl
		},
	} {
		t.Run(name, func(t *testing.T) {
			r, tl := day()
			pages := pagesOf(t, printed(t, r, tl, Letter))
			wellPrinted(t, pages, Letter)
			// What is wider than the paper makes the browser shrink every page.
			i := slices.IndexFunc(pages[0].Words, func(w pdfWord) bool { return w.Text == "Cautions" })
			if i < 0 {
				t.Fatal("no cautions on the first page")
			}
			if w := pages[0].Words[i]; abs(w.Bottom-w.Top-cautionHeight) > 0.1 {
				t.Errorf("%q is %.2f pt high, not %.2f: the pages are shrunk", w.Text, w.Bottom-w.Top, cautionHeight)
			}
			wants(t, "first page", pages[0].text(), "kill cord", "Conditions")
			// Amendments may need a page more.
			wants(t, "last pages", pages[len(pages)-2].text()+" "+pages[len(pages)-1].text(), "Layout of the figures")
		})
	}
}

// fakeBrowser is the only program in PATH, as chromium.
func fakeBrowser(t *testing.T, script string) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "chromium"), []byte("#!/bin/sh\n"+script), 0o700); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", dir)
	t.Setenv("TMPDIR", t.TempDir())
}

// leftBehind lists what is in TMPDIR.
func leftBehind(t *testing.T) []string {
	t.Helper()
	list, err := filepath.Glob(filepath.Join(os.TempDir(), "*"))
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func TestABrowserThatDoesNotPrint(t *testing.T) {
	r, tl := inventedDay(1)
	for script, want := range map[string]string{
		"echo starting >&2; echo no display here >&2; exit 3": "could not print the sheet: exit status 3: no display here",
		"exit 0": "printed nothing",
		`for a; do case $a in --print-to-pdf=*) echo no PDF >"${a#*=}";; esac; done; exit 0`: "printed nothing",
	} {
		fakeBrowser(t, script)
		var b bytes.Buffer
		err := WritePDF(t.Context(), &b, r, tl, A4)
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") || b.Len() > 0 {
			t.Errorf("%s: %v, %d bytes written", script, err, b.Len())
		}
		if left := leftBehind(t); len(left) > 0 {
			t.Errorf("%s: left behind: %v", script, left)
		}
	}
	t.Setenv("PATH", t.TempDir())
	if err := WritePDF(t.Context(), &bytes.Buffer{}, r, tl, A4); !errors.Is(err, ErrNoBrowser) || !strings.Contains(err.Error(), "apt-get install chromium") {
		t.Errorf("without a browser: %v", err)
	}
}

// The browser is told to stay off the network and out of the user's files, and
// only root's runs without a sandbox.
func TestWhatTheBrowserIsTold(t *testing.T) {
	notes := filepath.Join(t.TempDir(), "notes")
	fakeBrowser(t, fmt.Sprintf("echo HOME=$HOME $* >%s; exit 1", notes))
	r, tl := inventedDay(1)
	if err := WritePDF(t.Context(), &bytes.Buffer{}, r, tl, A4); err == nil {
		t.Fatal("no error")
	}
	content, err := os.ReadFile(notes)
	if err != nil {
		t.Fatal(err)
	}
	told := string(content)
	own := regexp.QuoteMeta(os.TempDir()) + `/trial-sheet-\d+`
	for _, want := range []string{`^HOME=` + own + ` `, `--user-data-dir=` + own + `/profile `, `--print-to-pdf=` + own + `/`, `file://` + own + `/sheet\.html`,
		"--disable-background-networking", "--no-proxy-server", "NOTFOUND"} {
		if !regexp.MustCompile(want).MatchString(told) {
			t.Errorf("no %s in %s", want, told)
		}
	}
	if root := os.Geteuid() == 0; root != strings.Contains(told, "--no-sandbox") {
		t.Errorf("root is %v: %s", root, told)
	}
}

// When the caller gives up, the browser ends with all that it started, and
// nothing is left behind.
func TestABrowserThatHangs(t *testing.T) {
	pids := filepath.Join(t.TempDir(), "pids")
	sleep, err := exec.LookPath("sleep")
	if err != nil {
		t.Fatal(err)
	}
	fakeBrowser(t, fmt.Sprintf("%[1]s 1000 & echo $$ $! >%[2]s; wait", sleep, pids))
	r, tl := inventedDay(1)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	done := make(chan error)
	go func() { done <- WritePDF(ctx, &bytes.Buffer{}, r, tl, A4) }()
	var browser, helper int
	for deadline := time.Now().Add(2 * time.Minute); ; time.Sleep(10 * time.Millisecond) {
		content, _ := os.ReadFile(pids)
		if n, _ := fmt.Sscan(string(content), &browser, &helper); n == 2 {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the browser was not started")
		}
	}
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) || !strings.Contains(err.Error(), "did not print the sheet in time") {
		t.Errorf("%v", err)
	}
	for _, pid := range []int{browser, helper} {
		if running(t, pid) {
			t.Errorf("process %d is still there", pid)
		}
	}
	if left := leftBehind(t); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// running waits for a process that was killed to be gone; one that nobody has
// waited for yet counts as gone.
func running(t *testing.T, pid int) bool {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); time.Now().Before(deadline); time.Sleep(10 * time.Millisecond) {
		status, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		if err != nil || strings.Contains(string(status), ") Z ") {
			return false
		}
	}
	return true
}

// The real browser, by its own log of the network, connects to nobody and sends
// nothing. It does ask for its maker's hosts, but finds none of them.
func TestPrintingStaysOffTheNetwork(t *testing.T) {
	browser, err := findBrowser()
	if err != nil && os.Getenv("CI") != "true" {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	log := filepath.Join(t.TempDir(), "net.json")
	fakeBrowser(t, fmt.Sprintf("PATH=%s exec %s --log-net-log=%s \"$@\"", os.Getenv("PATH"), browser, log))
	r, tl := inventedDay(1)
	if err := WritePDF(t.Context(), &bytes.Buffer{}, r, tl, A4); err != nil {
		t.Fatal(err)
	}
	content, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	var net struct {
		Constants struct {
			LogEventTypes map[string]int `json:"logEventTypes"`
		} `json:"constants"`
		Events []struct {
			Type   int             `json:"type"`
			Params json.RawMessage `json:"params"`
		} `json:"events"`
	}
	if err := json.Unmarshal(content, &net); err != nil {
		// A log that the browser did not end.
		if err := json.Unmarshal(append(bytes.TrimRight(content, ",\n "), "]}"...), &net); err != nil {
			t.Fatal(err)
		}
	}
	if len(net.Events) == 0 {
		t.Fatal("nothing was logged")
	}
	for _, name := range []string{"TCP_CONNECT", "TCP_CONNECT_ATTEMPT", "SOCKET_BYTES_SENT", "UDP_BYTES_SENT"} {
		number, known := net.Constants.LogEventTypes[name]
		if !known {
			t.Errorf("the browser's log has no event %s", name)
		}
		for _, e := range net.Events {
			if known && e.Type == number {
				t.Errorf("%s %s", name, e.Params)
			}
		}
	}
}
