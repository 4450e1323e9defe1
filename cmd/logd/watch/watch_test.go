package watch

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/ansi"

	"trialday.example/logd/sink/results"
)

func ptr[T any](v T) *T { return &v }

// underway is a state in the middle of a day.
func underway() *results.Live {
	return &results.Live{
		Version: "v", Time: "2031-05-04T09:30:05.4Z", ClockKnown: true,
		Trial:     &results.Session{Number: 3, Name: "invented bay"},
		Recording: results.Recording{OK: true, Frames: 1000},
		Now: results.Now{SOGKn: ptr(24.63), FuelLPH: ptr(118.4), EconomyLPerNM: ptr(4.81), HeadingDeg: ptr(91.0),
			Engines: []results.EngineNow{{Name: "port", RPM: ptr(2990.0), Gear: ptr("forward")}, {Name: "starboard", RPM: ptr(3010.0)}}},
		Hold: results.Hold{State: results.HoldSteady, SteadyS: 42, NeedS: 60, MoreS: 18, RPM: ptr(3000.0), HeadingDeg: ptr(90.0)},
		Steps: []results.SoFar{
			{RPM: 1200, SpeedKn: &results.Interval{Mean: 7.2, Lo95: 7.1, Hi95: 7.3}, Passes: 2},
			{RPM: 3000, SpeedKn: &results.Interval{Mean: 24.6, Lo95: 24.4, Hi95: 24.8}, FuelLPH: &results.Interval{Mean: 118, Lo95: 117, Hi95: 119},
				Passes: 1, NeedsReciprocal: true, ReciprocalDeg: ptr(270.0)},
		},
		Lamps: []results.Lamp{
			{Name: "position", State: results.LampGood, Text: "10 Hz"},
			{Name: "heading", State: results.LampWarn, Text: "comes once a second only"},
			{Name: "fuel", State: results.LampBad, Text: "port gives none"},
			{Name: "server", State: results.LampOff, Text: "none is configured"},
		},
	}
}

var drawn = glyphs{full: "█", empty: "░", rule: "─", plusMinus: "±", degree: "°"}

// shown is what a model of a size shows after messages, without colour.
func shown(t *testing.T, width, height int, msgs ...tea.Msg) string {
	t.Helper()
	var m tea.Model = newModel("http://logger.example", drawn)
	m, _ = m.Update(tea.WindowSizeMsg{Width: width, Height: height})
	for _, msg := range msgs {
		m, _ = m.Update(msg)
	}
	text := ansi.Strip(m.View())
	lines := strings.Split(text, "\n")
	if len(lines) != height {
		t.Errorf("%d lines on a terminal of %d", len(lines), height)
	}
	for _, l := range lines {
		if n := ansi.StringWidth(l); n > width {
			t.Errorf("%d columns of %d: %s", n, width, l)
		}
	}
	return text
}

// holds checks that a text has all parts.
func holds(t *testing.T, text string, parts ...string) {
	t.Helper()
	for _, p := range parts {
		if !strings.Contains(text, p) {
			t.Errorf("%q is not in\n%s", p, text)
		}
	}
}

func TestTheStateStandsInWords(t *testing.T) {
	for _, size := range [][2]int{{80, 24}, {132, 43}, {300, 80}} {
		text := shown(t, size[0], size[1], heard{underway()})
		holds(t, text, "trial 3, invented bay", "recording", "09:30:05 UTC", "STEADY for 42 s: HOLD 18 s MORE", "at 3000 rpm, heading 90°",
			"70 % of 60 s", "24.6 ± 0.20", "a pass on 270°", "nothing", "LOOK heading: comes once a second only", "BAD  fuel: port gives none",
			"GOOD position", "OFF  server", "port 2990 rpm forward", "q ends this")
		holds(t, text, strings.Split(newModel("", drawn).large("24.6"), "\n")...)
		holds(t, text, strings.Split(newModel("", drawn).large("3000"), "\n")...)
	}
	for _, size := range [][2]int{{40, 12}, {20, 5}, {10, 2}, {1, 1}} {
		shown(t, size[0], size[1], heard{underway()})
	}
}

func TestWhatToDoIsSaid(t *testing.T) {
	for state, want := range map[string]string{
		results.HoldFree: "NOT HELD", results.HoldSettling: "NOT STEADY YET", results.HoldEnough: "LONG ENOUGH, the pass may end",
	} {
		l := underway()
		l.Hold.State = state
		if state != results.HoldEnough {
			l.Hold.Why = "the throttle moves"
		}
		holds(t, shown(t, 80, 24, heard{l}), want, l.Hold.Why)
	}
}

func TestTroubleComesFirst(t *testing.T) {
	l := underway()
	l.Recording = results.Recording{Problems: []string{"NOT RECORDING: the disk is full; make room: delete old trials"}}
	text := shown(t, 80, 24, heard{l})
	holds(t, text, "NOT RECORDING", "! NOT RECORDING: the disk is full")
	if strings.Index(text, "disk is full") > strings.Index(text, "speed over ground") {
		t.Error("the problem stands below the figures")
	}
	l = underway()
	l.Recording.Lost = 7
	holds(t, shown(t, 80, 24, heard{l}), "7 frames lost")
	l.Trial, l.Time, l.Steps, l.Hold = nil, "", nil, results.Hold{State: results.HoldFree, Why: "no frame has come yet"}
	holds(t, shown(t, 80, 24, heard{l}), "waiting for the first frame", "no time yet", "no step yet", "NOT HELD", "no frame has come yet")
}

// After the connection is lost nothing is shown as if it were the present.
func TestALostConnectionShowsNoFigures(t *testing.T) {
	m := newModel("", drawn)
	speed, dash := strings.Split(m.large("24.6"), "\n"), strings.Split(m.large("-"), "\n")
	text := shown(t, 80, 24, heard{underway()}, lost{"the service went silent"}, tick(time.Now().Add(9*time.Second)))
	holds(t, text, "NOT CONNECTED for", "the service went silent", "NO GUIDANCE", "last heard", dash[2], "a pass on 270°")
	for _, gone := range []string{speed[0], "HOLD 18 s", "port 2990", "GOOD position"} {
		if strings.Contains(text, gone) {
			t.Errorf("%q is still shown\n%s", gone, text)
		}
	}
	holds(t, shown(t, 80, 24, heard{underway()}, lost{"x"}, heard{underway()}), speed[0], "HOLD 18 s")
	holds(t, shown(t, 80, 24, lost{"no service answers"}), "NOT CONNECTED", "no service answers")
	holds(t, shown(t, 80, 24), "asking http://logger.example")
}

func TestWhatIsNotHeardIsADash(t *testing.T) {
	l := underway()
	l.Now = results.Now{}
	text := shown(t, 80, 24, heard{l})
	holds(t, text, "water - kn", "depth - m")
	if strings.Contains(text, "0.0") {
		t.Errorf("a zero from nowhere\n%s", text)
	}
}

// A boat that batteries drive has their figures where others have burn and economy, a
// hybrid both.
func TestWhatBatteriesGive(t *testing.T) {
	electric := func(drive string) *results.Live {
		l := underway()
		l.Drive = drive
		l.Now.Electric = &results.ElectricNow{PowerKW: ptr(61.4), WhPerNM: ptr(2493.0), ChargePct: ptr(78.0)}
		l.Steps[1].Electric = &results.ElectricSoFar{PowerKW: &results.Interval{Mean: 61.2, Lo95: 61.1, Hi95: 61.3}, WhPerNM: &results.Interval{Mean: 2488, Lo95: 2480, Hi95: 2496}}
		return l
	}
	big := func(text string) string { return strings.Split(newModel("", drawn).large(text), "\n")[0] }
	for _, width := range []int{80, 132} {
		text := shown(t, width, 43, heard{electric(results.ElectricDrive)})
		holds(t, text, big("61.4"), "battery 61.4 kW, 2493 Wh/nm, charge 78 %", "61.2 ± 0.10", "2488 ± 8.0", "a pass on 270°")
		if strings.Contains(text, "fuel, L/h") || strings.Contains(text, "L/nm") {
			t.Errorf("fuel of a boat that burns none\n%s", text)
		}
		text = shown(t, width, 43, heard{electric(results.HybridDrive)})
		text += strings.Join(strings.Fields(text), " ") // the line of others may be two
		holds(t, text, big("118.4"), "4.81 L/nm", "battery 61.4 kW, 2493 Wh/nm, charge 78 %", "118.0 ± 1.00", "61.2 ± 0.10", "a pass on 270°")
	}
	gone := electric(results.ElectricDrive)
	gone.Now = results.Now{}
	holds(t, shown(t, 132, 43, heard{gone}), "battery - kW, - Wh/nm, charge - %")
	if text := shown(t, 132, 43, heard{underway()}); strings.Contains(text, "Wh") || strings.Contains(text, "battery") {
		t.Errorf("batteries of a boat without\n%s", text)
	}
}

func TestStepsThatDoNotFitAreSummedUp(t *testing.T) {
	l := underway()
	for i := range 30 {
		l.Steps = append(l.Steps, results.SoFar{RPM: float64(3100 + i), Passes: 2})
	}
	l.Steps = append(l.Steps, results.SoFar{RPM: 5000, Passes: 1, NeedsReciprocal: true})
	text := shown(t, 80, 28, heard{l})
	holds(t, text, "5000", "a pass on 270°", "the way back", "more: enlarge the window", "GOOD position")
	if shownAll := shown(t, 80, 70, heard{l}); strings.Contains(shownAll, "more: enlarge") || !strings.Contains(shownAll, "3129") {
		t.Errorf("steps are missing though there is room\n%s", shownAll)
	}
}

func TestTextsCannotCommandTheTerminal(t *testing.T) {
	l := underway()
	l.Trial.Name, l.Lamps[1].Text = "a\x1b]0;title\x07b", "x\x1b[2Jy\nz\u009b"
	var m tea.Model = newModel("", drawn)
	m, _ = m.Update(heard{l})
	text := ansi.Strip(m.View())
	if strings.ContainsAny(text, "\x07\x1b\u009b") || strings.Contains(m.View(), "\x1b]") || strings.Contains(m.View(), "\x1b[2J") {
		t.Errorf("%q", m.View())
	}
}

func TestWithoutUTF8(t *testing.T) {
	for locale, plain := range map[string]bool{"en_US.UTF-8": false, "C.utf8": false, "C": true, "": true} {
		g := glyphsFor(func(key string) string { return map[string]string{"LANG": locale}[key] })
		m := newModel("", g)
		m.state = clean(underway())
		text := ansi.Strip(m.View())
		isPlain := !strings.ContainsFunc(text, func(r rune) bool { return r > 126 })
		if isPlain != plain {
			t.Errorf("%q: %s", locale, text)
		}
		holds(t, text, "HOLD 18 s MORE")
	}
}

func TestKeys(t *testing.T) {
	m := newModel("", drawn)
	for _, k := range []tea.KeyMsg{{Type: tea.KeyRunes, Runes: []rune("q")}, {Type: tea.KeyCtrlC}, {Type: tea.KeyEsc}} {
		_, cmd := m.Update(k)
		if cmd == nil {
			t.Errorf("%s does not end it", k)
			continue
		}
		if _, ok := cmd().(tea.QuitMsg); !ok {
			t.Errorf("%s does not end it", k)
		}
	}
	if _, cmd := m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("x")}); cmd != nil {
		t.Error("another key does something")
	}
}

// service is a page that streams states until it is stopped.
func service(t *testing.T, token string, states <-chan string) *httptest.Server {
	t.Helper()
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if token != "" && r.Header.Get("Authorization") != "Bearer "+token {
			w.WriteHeader(http.StatusUnauthorized)
			return
		}
		if r.URL.Path == "/api/live" {
			_ = json.NewEncoder(w).Encode(underway())
			return
		}
		w.Header().Set("Content-Type", "text/event-stream")
		for text := range states {
			fmt.Fprint(w, text)
			_ = http.NewResponseController(w).Flush()
			if text == "" {
				return
			}
		}
	}))
	t.Cleanup(s.Close)
	return s
}

func event(version string) string { return "event: live\ndata: {\"version\":\"" + version + "\"}\n\n" }

func TestTheStreamIsTakenUpAgain(t *testing.T) {
	states := make(chan string)
	s := service(t, "", states)
	told := make(chan string, 100)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() {
		ended <- Follow(ctx, Options{URL: s.URL}, func(l *results.Live, lost error) {
			if lost != nil {
				told <- "lost: " + lost.Error()
				return
			}
			told <- l.Version
		})
	}()
	for _, text := range []string{"retry: 1\n\n", ": still here\n\n", event("one"), "event: trial\ndata: {\"number\":1}\n\n", "event: live\ndata: {\ndata: \"version\":\"two\"}\n\n"} {
		states <- text
	}
	states <- "" // the service stops
	states <- event("three")
	for _, want := range []string{"one", "two", "lost: the service ended the connection", "three"} {
		if got := <-told; !strings.HasPrefix(got, want) {
			t.Errorf("%s, want %s", got, want)
		}
	}
	stop()
	close(states)
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

func TestWhyThereIsNoStateIsSaid(t *testing.T) {
	s := service(t, "the token", nil)
	for _, c := range []struct {
		o    Options
		want string
	}{
		{Options{URL: s.URL}, "--token-file"},
		{Options{URL: s.URL, Token: "another"}, "--token-file"},
		{Options{URL: "http://127.0.0.1:1"}, "is it running"},
		{Options{URL: "127.0.0.1:8642"}, "no address"},
		{Options{URL: "ftp://x"}, "no address"},
	} {
		if err := Once(t.Context(), c.o, io.Discard); err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%+v: %v", c.o, err)
		}
	}
	var out bytes.Buffer
	if err := Once(t.Context(), Options{URL: s.URL, Token: "the token"}, &out); err != nil {
		t.Fatal(err)
	}
	holds(t, out.String(), "HOLD 18 s MORE", "trial 3", "GOOD position")
	wrong := httptest.NewServer(http.NotFoundHandler())
	defer wrong.Close()
	if err := Once(t.Context(), Options{URL: wrong.URL}, io.Discard); err == nil || !strings.Contains(err.Error(), "404") {
		t.Error(err)
	}
}

func FuzzEvents(f *testing.F) {
	f.Add([]byte(event("x") + ": c\n\ndata\ndata:1\n\nevent:e\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		_ = readEvents(bytes.NewReader(text), func(event, data string) error {
			if strings.Contains(event, "\n") {
				t.Errorf("%q", event)
			}
			var l results.Live
			if json.Unmarshal([]byte(data), &l) == nil {
				m := newModel("", drawn)
				m.state = clean(&l)
				m.View()
			}
			return nil
		})
	})
}
