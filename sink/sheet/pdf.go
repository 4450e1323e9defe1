package sheet

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansitalic"
	"codeberg.org/go-fonts/liberation/liberationsansregular"

	"trialday.example/logd/sink/results"
)

// Paper is what a PDF is made for.
type Paper string

// The papers that there are.
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// ParsePaper reads a paper's name.
func ParsePaper(name string) (Paper, error) {
	switch p := Paper(strings.ToLower(name)); p {
	case A4, Letter:
		return p, nil
	}
	return "", fmt.Errorf("paper %q: not a paper; allowed: %s, %s", name, A4, Letter)
}

// Browsers are the programs that can print, the first found in PATH is used.
var Browsers = []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable"}

// ErrNoBrowser means that none of Browsers is installed.
var ErrNoBrowser = fmt.Errorf("no browser to print with: none of %s is in PATH; install one (Debian: apt-get install chromium), or print sheet.html by hand",
	strings.Join(Browsers, ", "))

// printing bounds how long the browser may take. It needs about a second; a
// small computer aboard, busy recording, takes longer.
const printing = 3 * time.Minute

// WritePDF writes the sheet of r as PDF, printed by a browser without a window:
// the pages that the HTML gives on this paper, set in fonts of our own, so that
// they break alike on every machine. The browser reads one file, may not reach
// the network, and leaves nothing behind. Errors name what failed and the
// remedy; ErrNoBrowser is among them.
func WritePDF(ctx context.Context, w io.Writer, r *results.Results, t *results.Timeline, p Paper) (err error) {
	browser, err := findBrowser()
	if err != nil {
		return err
	}
	var page bytes.Buffer
	if err := writePage(&page, r, t, printStyle(p)); err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "trial-sheet-")
	if err != nil {
		return fmt.Errorf("directory for the browser: %w; TMPDIR names another place", err)
	}
	defer func() { err = errors.Join(err, remove(dir)) }()
	if err := os.WriteFile(filepath.Join(dir, "sheet.html"), page.Bytes(), 0o600); err != nil {
		return fmt.Errorf("page for the browser: %w", err)
	}
	pdf, err := printPage(ctx, browser, dir)
	if err != nil {
		return err
	}
	_, err = w.Write(pdf)
	return err
}

func findBrowser() (string, error) {
	for _, name := range Browsers {
		if path, err := exec.LookPath(name); err == nil {
			return path, nil
		}
	}
	return "", ErrNoBrowser
}

// printStyle names the paper and brings the fonts along.
func printStyle(p Paper) template.CSS {
	style := "@page{size:" + string(p) + "}"
	for _, f := range []struct {
		about string
		ttf   []byte
	}{
		{"", liberationsansregular.TTF}, {"font-weight:bold", liberationsansbold.TTF}, {"font-style:italic", liberationsansitalic.TTF},
	} {
		style += `@font-face{font-family:"Liberation Sans";src:url("data:font/ttf;base64,` + base64.StdEncoding.EncodeToString(f.ttf) + `");` + f.about + "}"
	}
	return template.CSS(style) // nothing in it comes from outside
}

// printPage has the browser print sheet.html in dir and returns the PDF. The
// browser is a group of processes, which is ended as a whole.
func printPage(ctx context.Context, browser, dir string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, printing)
	defer cancel()
	pdf := filepath.Join(dir, "sheet.pdf")
	cmd := exec.CommandContext(ctx, browser, append(browserFlags(dir), "--no-pdf-header-footer", "--generate-pdf-document-outline",
		"--print-to-pdf="+pdf, "file://"+filepath.Join(dir, "sheet.html"))...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "HOME="+dir, "XDG_CONFIG_HOME="+dir, "XDG_CACHE_HOME="+dir)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	end := func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.Cancel = end
	cmd.WaitDelay = 5 * time.Second
	var said bytes.Buffer
	cmd.Stderr = &said
	err := cmd.Run()
	if cmd.Process != nil {
		_ = end() // its helpers, if any are left
	}
	switch {
	case ctx.Err() != nil:
		return nil, fmt.Errorf("%s did not print the sheet in time: %w", browser, ctx.Err())
	case err != nil:
		return nil, fmt.Errorf("%s could not print the sheet: %w%s", browser, err, lastLine(said.String()))
	}
	content, err := os.ReadFile(pdf)
	if err != nil || !bytes.HasPrefix(content, []byte("%PDF-")) {
		return nil, fmt.Errorf("%s printed nothing%s", browser, lastLine(said.String()))
	}
	return content, nil
}

// browserFlags: no window, no network, and nothing written outside dir. Without
// the sandbox only as root, who cannot have one; the page holds no script.
func browserFlags(dir string) []string {
	flags := []string{"--headless", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--disable-extensions", "--user-data-dir=" + filepath.Join(dir, "profile"),
		"--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-default-apps", "--no-proxy-server", "--host-resolver-rules=MAP * ~NOTFOUND"}
	if os.Geteuid() == 0 {
		flags = append(flags, "--no-sandbox")
	}
	return flags
}

// lastLine is what the browser said last, to end a message with.
func lastLine(s string) string {
	lines := strings.Split(strings.TrimSpace(s), "\n")
	if last := strings.TrimSpace(lines[len(lines)-1]); last != "" {
		return ": " + last
	}
	return ""
}

// remove deletes the directory; the last of the browser's processes may be
// writing into it for a moment yet.
func remove(dir string) error {
	var err error
	for range 40 {
		if err = os.RemoveAll(dir); err == nil {
			return nil
		}
		time.Sleep(50 * time.Millisecond)
	}
	return fmt.Errorf("the browser's files could not be deleted: %w", err)
}
