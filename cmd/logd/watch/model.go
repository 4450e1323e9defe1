package watch

import (
	"strings"
	"time"
	"unicode"

	tea "github.com/charmbracelet/bubbletea"

	"trialday.example/logd/sink/results"
)

// model is what is shown.
type model struct {
	url    string
	glyphs glyphs
	state  *results.Live // nil before the first
	why    string        // why the connection is lost; "" while it stands
	since  time.Time     // when it was lost
	now    time.Time
	width  int
	height int  // 0: as long as it takes
	plain  bool // for a file, not a terminal
}

func newModel(url string, g glyphs) model {
	return model{url: url, glyphs: g, width: 80, height: 24, now: time.Now()}
}

// tick makes the time since the connection was lost go on.
type tick time.Time

func ticking() tea.Cmd { return tea.Tick(time.Second, func(t time.Time) tea.Msg { return tick(t) }) }

// Init implements tea.Model.
func (m model) Init() tea.Cmd { return ticking() }

// Update implements tea.Model.
func (m model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.KeyMsg:
		switch msg.String() {
		case "q", "ctrl+c", "esc":
			return m, tea.Quit
		}
	case tea.WindowSizeMsg:
		m.width, m.height = msg.Width, msg.Height
	case tick:
		m.now = time.Time(msg)
		return m, ticking()
	case heard:
		m.state, m.why = clean(msg.Live), ""
	case lost:
		if m.why == "" {
			m.since = m.now
		}
		m.why = printable(msg.why)
	}
	return m, nil
}

// clean takes out of a state what could command the terminal: texts in it come
// from devices on the bus too.
func clean(l *results.Live) *results.Live {
	texts := []*string{&l.Time, &l.Hold.Why, &l.Drive}
	if l.Trial != nil {
		texts = append(texts, &l.Trial.Name)
	}
	for i := range l.Recording.Problems {
		texts = append(texts, &l.Recording.Problems[i])
	}
	for i := range l.Steps {
		if l.Steps[i].Electric == nil {
			l.Steps[i].Electric = new(results.ElectricSoFar) // of nothing
		}
	}
	for i := range l.Lamps {
		texts = append(texts, &l.Lamps[i].Name, &l.Lamps[i].Text)
	}
	for i := range l.Now.Engines {
		texts = append(texts, &l.Now.Engines[i].Name)
		if gear := l.Now.Engines[i].Gear; gear != nil {
			texts = append(texts, gear)
		}
	}
	for _, t := range texts {
		*t = printable(*t)
	}
	return l
}

// printable makes one line of a text, without control characters.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, text)
}
