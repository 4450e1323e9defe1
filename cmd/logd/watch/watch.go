// Package watch shows in a terminal how a trial stands: what the service's page
// tells as a live stream, in large figures and words, also without colour and
// over a slow line.
//
// Invariant: what is shown as the present is the present. Figures that are not
// heard now, or whose connection is lost, are a dash.
package watch

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	tea "github.com/charmbracelet/bubbletea"

	"trialday.example/logd/sink/results"
)

// Options says where to look.
type Options struct {
	URL   string // of the service's page, such as http://127.0.0.1:8642
	Token string // of a service that asks for one
}

// Run shows the live state until the user ends it or ctx ends.
func Run(ctx context.Context, o Options, in io.Reader, out io.Writer) error {
	ctx, stop := context.WithCancel(ctx)
	p := tea.NewProgram(newModel(o.URL, glyphsFor(os.Getenv)), tea.WithContext(ctx), tea.WithInput(in), tea.WithOutput(out), tea.WithAltScreen())
	followed := make(chan error, 1)
	go func() {
		defer p.Quit() // where o is wrong; else it has ended
		followed <- Follow(ctx, o, func(state *results.Live, why error) {
			if why != nil {
				p.Send(lost{why.Error()})
				return
			}
			p.Send(heard{state})
		})
	}()
	_, err := p.Run()
	if ctx.Err() != nil {
		err = nil // asked to end
	}
	stop()
	return cmp.Or(err, <-followed)
}

// Once prints the state as it is, for a terminal of 80 columns.
func Once(ctx context.Context, o Options, out io.Writer) error {
	s, err := newSource(o)
	if err != nil {
		return err
	}
	state, err := s.once(ctx)
	if err != nil {
		return err
	}
	m := newModel(o.URL, glyphsFor(os.Getenv))
	m.state, m.height, m.plain = clean(state), 0, true
	_, err = fmt.Fprintln(out, m.View())
	return err
}

// glyphsFor are those that the terminal can show.
func glyphsFor(env func(string) string) glyphs {
	locale := env("LC_ALL")
	for _, name := range []string{"LC_CTYPE", "LANG"} {
		if locale == "" {
			locale = env(name)
		}
	}
	if l := strings.ToUpper(locale); strings.Contains(l, "UTF-8") || strings.Contains(l, "UTF8") {
		return glyphs{full: "█", empty: "░", rule: "─", plusMinus: "±", degree: "°"}
	}
	return glyphs{full: "#", empty: ".", rule: "-", plusMinus: "+-", degree: " deg"}
}

// glyphs are the characters beyond ASCII, or what stands for them.
type glyphs struct{ full, empty, rule, plusMinus, degree string }

// What the source tells the model.
type (
	heard struct{ *results.Live }
	lost  struct{ why string }
)
