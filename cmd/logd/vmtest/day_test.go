package vmtest

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
)

// shortDay is what the boat of the accuracy scenario does in these tests.
const shortDay = `script:
  - {do: dock, for_s: 20}
  - {do: harbour, for_s: 20}
  - {do: step, rpm: 1300, passes: 2}
  - {do: step, rpm: 1900, passes: 2}
  - {do: step, rpm: 2400, passes: 2}
  - {do: step, full: true, passes: 2}
  - {do: harbour, for_s: 20}
  - {do: dock, for_s: 20}
`

// simulatedDay is the log of a simulated trial day, cut into parts that follow
// one another.
func simulatedDay(t *testing.T, parts int) (logs [][]byte, frames int) {
	t.Helper()
	text, err := scenarios.Load("accuracy")
	if err != nil {
		t.Fatal(err)
	}
	boat, _, _ := bytes.Cut(text, []byte("script:"))
	s, err := simulate.Parse(append(boat, shortDay...))
	if err != nil {
		t.Fatal(err)
	}
	var all [][]byte
	var f frame.Frame
	for day := s.Start(7); ; {
		if err := day.Next(&f); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		f.Time -= f.Time % 1000 // canplayer takes microseconds
		all = append(all, append(capture.AppendLine(nil, &f, "vcan0"), '\n'))
	}
	for i := range parts {
		logs = append(logs, bytes.Join(all[len(all)*i/parts:len(all)*(i+1)/parts], nil))
	}
	return logs, len(all)
}

// TestTrialDay sails a simulated day in a machine whose time runs as fast
// as it can be emulated, with the page open. What logd derives while the frames
// come and serves on the page equals what the journal gives afterwards, byte for
// byte, without and with an amendment made on the page, and what candump's log
// of the same day gives.
func TestTrialDay(t *testing.T) {
	needVM(t)
	t.Parallel()
	sailDay(t, "trial_day", "true", "true", "true")
}

// TestTrialDayBadClock is the same day aboard of a computer that starts in 1970
// and whose clock is set forward and back on the way.
func TestTrialDayBadClock(t *testing.T) {
	needVM(t)
	t.Parallel()
	sailDay(t, "trial_day_bad_clock", "date -s @1000", "date -s @5000000", "date -s @4990000")
}

// sailDay sails a day in as many parts as there are commands, each of which is
// run before its part.
func sailDay(t *testing.T, name string, before ...string) {
	m := boot(t, hardware{fast: true})
	m.patience = 9 * time.Minute
	// A real disk does not keep up with such a clock.
	m.run("mkdir -p /disk && mount -t tmpfs -o size=100m disk /disk")
	m.addBuses("vcan0")
	parts, frames := simulatedDay(t, len(before))
	m.prepareLaunch([]string{"vcan0"}, "")
	// All in one line: time must not run on while nobody does anything.
	day := launchLine + "; " + until(fetchMetrics, 300) + "; candump -L vcan0" + everything + " >/tmp/dump & dump=$!" +
		"; wget -q -O /tmp/stream " + page + "/api/live/stream & looking=$!; sleep 1"
	for i, log := range parts {
		file := fmt.Sprintf("part%d.log", i)
		m.give(file, log)
		day = "cp /share/" + file + " /tmp/; " + day
		if i > 0 {
			day += "; " + before[i] + " >/dev/null"
		}
		day += "; canplayer -g 20 -I /tmp/" + file
	}
	began := time.Now()
	m.run(before[0] + " >/dev/null; " + day + "; sleep 1; kill $dump $looking; " + evening + "; kill $logd; wait $logd; cp /tmp/dump /tmp/stream /share/")
	took := time.Since(began)

	trials, _ := filepath.Glob(filepath.Join(m.fetchLogbook(), "0*"))
	if len(trials) != 1 {
		t.Fatalf("trials: %v", trials)
	}
	live := m.shared("live.json")
	same(t, "live", live, "replayed", m.replay("--original", filepath.Join(trials[0], "frames")))
	amended := m.shared("amended.json")
	same(t, "amended", amended, "replayed with the amendment", m.replay(filepath.Join(trials[0], "frames")))
	if bytes.Equal(live, amended) {
		t.Error("the amendment changed nothing")
	}
	states := bytes.Count(m.shared("stream"), []byte("event: live"))
	if states < minLooks {
		t.Errorf("only %d states on the page", states)
	}
	dump := filepath.Join(m.share, "dump")
	sameFrames(t, "the journal", exportAll(t, filepath.Dir(trials[0])), "candump", readLog(t, dump))
	if n := len(readLog(t, dump)); n != frames {
		t.Errorf("%d frames on the bus of %d", n, frames)
	}
	var original []string
	for i := range parts {
		original = append(original, filepath.Join(m.share, fmt.Sprintf("part%d.log", i)))
	}
	steps := stepsOf(t, live)
	sameSteps(t, "candump's log", steps, stepsOf(t, m.replay(dump)), 0.01)
	sameSteps(t, "the simulation's own log", steps, stepsOf(t, m.replay(original...)), 0.1)
	counts.note(t, name, map[string]any{"frames": frames, "steps": len(steps), "live_equals_replay_bytes": len(live), "states_on_the_page": states, "minutes_aboard": minutes(t, original), "seconds_here": round(took.Seconds())})
}

const page = "http://127.0.0.1:8642"

// minLooks is how many states at least someone who looks on for some minutes is
// shown.
const minLooks = 100

// evening closes the trial and fetches its results from the page, before and
// after the first window is excluded there.
var evening = "su -s /bin/sh -c 'logd trial close --config /share/logd.yaml' trialday >/dev/null" +
	"; " + until("grep -q '\"derived\": *true' /disk/journal/0*/trial.json", 600) +
	"; wget -q -O /share/live.json " + page + "/api/trials/1/results" +
	`; wget -q -O /dev/null --header 'Content-Type: application/json' --post-data '{"name":"test","reason":"a wake crossed","action":"exclude","window_ids":[1]}' ` + page + "/api/trials/1/amendments" +
	"; wget -q -O /share/amended.json " + page + "/api/trials/1/results"

// until is a line that waits for another to succeed, for so many tenths of a
// second.
func until(line string, tenths int) string {
	return fmt.Sprintf("n=0; until %s || [ $n -gt %d ]; do n=$((n+1)); sleep 0.1; done", line, tenths)
}

// shared reads a file that the guest left in the shared directory.
func (m *machine) shared(name string) []byte {
	m.t.Helper()
	text, err := os.ReadFile(filepath.Join(m.share, name))
	if err != nil {
		m.t.Fatal(err)
	}
	return text
}

func same(t *testing.T, nameA string, a []byte, nameB string, b []byte) {
	t.Helper()
	if !bytes.Equal(a, b) {
		t.Errorf("%s and %s results differ: %d and %d bytes", nameA, nameB, len(a), len(b))
	}
}

// replay derives results on this side, by the guest's configuration.
func (m *machine) replay(arguments ...string) []byte {
	m.t.Helper()
	out := m.t.TempDir()
	host(m.t, image.logd, append([]string{"replay", "--config", filepath.Join(m.share, "logd.yaml"), "--out", out}, arguments...)...)
	text, err := os.ReadFile(filepath.Join(out, "results.json"))
	if err != nil {
		m.t.Fatal(err)
	}
	return text
}

type step struct {
	RPM   float64 `json:"rpm"`
	Speed struct {
		Mean float64 `json:"mean"`
	} `json:"speed_kn"`
	Passes int `json:"passes"`
}

func stepsOf(t *testing.T, text []byte) []step {
	t.Helper()
	var r struct {
		Steps []step `json:"steps"`
	}
	if err := json.Unmarshal(text, &r); err != nil {
		t.Fatal(err)
	}
	if len(r.Steps) < 4 {
		t.Errorf("only %d steps: %+v", len(r.Steps), r.Steps)
	}
	return r.Steps
}

// sameSteps compares steps, speeds to within so many knots: the time stamps of
// two recordings are not the same.
func sameSteps(t *testing.T, name string, a, b []step, knots float64) {
	t.Helper()
	if len(a) != len(b) {
		t.Errorf("%d steps aboard, %d from %s", len(a), len(b), name)
		return
	}
	for i := range a {
		if a[i].Passes != b[i].Passes || math.Abs(a[i].Speed.Mean-b[i].Speed.Mean) > knots {
			t.Errorf("step %d aboard: %+v, from %s: %+v", i+1, a[i], name, b[i])
		}
	}
}

func minutes(t *testing.T, logs []string) int {
	t.Helper()
	first, last := readLog(t, logs[0]), readLog(t, logs[len(logs)-1])
	return int((last[len(last)-1].micros - first[0].micros) / 60e6)
}
