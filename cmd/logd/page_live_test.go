package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/watch"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/timeline"
)

// said is what someone who looks on is told.
type said struct {
	*results.Live
	lost error
}

// lookOn follows the live stream of a page.
func lookOn(t *testing.T, url string) <-chan said {
	t.Helper()
	told := make(chan said, 1000)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- watch.Follow(ctx, watch.Options{URL: url}, func(l *results.Live, lost error) {
			select {
			case told <- said{l, lost}:
			case <-ctx.Done():
			}
		})
	}()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return told
}

// hear waits until what is told is what is waited for.
func hear(t *testing.T, told <-chan said, what string, is func(said) bool) said {
	t.Helper()
	patience := time.After(2 * time.Minute)
	for {
		select {
		case s := <-told:
			if is(s) {
				return s
			}
		case <-patience:
			t.Fatalf("waited in vain: %s", what)
		}
	}
}

// A day is recorded in two parts with a restart between. Who looks on hears it
// grow, loses it at the restart and has it again; then the trial is closed and
// its results are there.
func TestADayOnThePage(t *testing.T) {
	cfg, err := configs.Parse(bytes.NewReader(boatA(t)), "demo")
	if err != nil {
		t.Fatal(err)
	}
	cfg.Journal.Dir = filepath.Join(t.TempDir(), "trials")
	address := fmt.Sprintf("127.0.0.1:%d", freePort(t, "tcp"))
	cfg.Page.Listen = address
	listen := func() (net.Listener, error) { return net.Listen("tcp", address) }
	url := "http://" + address
	parts := halves(t, short(t).write(t))

	told := lookOn(t, url)
	src, stop := begin(t, cfg, parts[0], listen)
	<-src.done
	first := hear(t, told, "the first part is shown", func(s said) bool {
		return s.Live != nil && s.Trial != nil && s.ClockKnown && s.Run != nil
	})
	if first.Trial.Number != 1 || !first.Recording.OK || len(first.Lamps) == 0 || first.Recording.Frames == 0 {
		t.Errorf("%+v", first.Live)
	}
	before := hear(t, told, "all of it is shown", func(s said) bool { return s.Live != nil && s.Recording.Frames > 0 && s.Time != "" })
	stop()
	hear(t, told, "the restart is noticed", func(s said) bool { return s.lost != nil })

	src, stop = begin(t, cfg, parts[1], listen)
	<-src.done
	after := hear(t, told, "the second part is shown", func(s said) bool {
		return s.Live != nil && s.Recording.Frames > before.Recording.Frames && s.Time > before.Time
	})
	if after.Trial.Number != 1 {
		t.Errorf("another trial after the restart: %+v", after.Trial)
	}

	if drawn := fetched(t, url+"/api/trials/1/timeline?points=50"); !strings.Contains(drawn, `"sog_kn":{"min":[`) {
		t.Errorf("the course so far: %.200s", drawn)
	}

	book, err := logbook.Open(cfg.Journal.Dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := book.Close(time.Now()); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "the results are there", func() bool {
		list, _ := book.Trials()
		return list[0].Derived()
	})
	var list []struct {
		Number     int
		Closed     bool
		HasResults bool `json:"has_results"`
		Start, End string
	}
	if err := json.Unmarshal([]byte(fetched(t, url+"/api/trials")), &list); err != nil || len(list) != 1 || !list[0].Closed || !list[0].HasResults {
		t.Fatalf("%+v %v", list, err)
	}
	var course, track timeline.View
	if err := json.Unmarshal([]byte(fetched(t, url+"/api/trials/1/timeline?points=100")), &course); err != nil || len(course.Time) < 50 || len(course.Channels) < 5 {
		t.Errorf("the course: %+v %v", course, err)
	}
	if err := json.Unmarshal([]byte(fetched(t, url+"/api/trials/1/track?points=100")), &track); err != nil || len(track.Time) < 50 {
		t.Errorf("the track: %+v %v", track, err)
	}
	trial := trialDir(t, cfg)
	for name, want := range contents(t, trial) {
		if got := fetched(t, url+"/api/trials/1/"+name); got != string(want) {
			t.Errorf("%s is not that of the trial", name)
		}
	}
	if !strings.Contains(fetched(t, url+"/metrics"), "logd_recording 1") {
		t.Error("no metrics")
	}
	window := amendOnPage(t, cfg, url)
	stop()
	exclude(t, cfg, evening(t, cfg), window) // the same without the logger
}

// amendOnPage excludes a window that counts. The steps are those from before once
// that is withdrawn; what makes no sense is refused.
func amendOnPage(t *testing.T, cfg configs.Config, url string) (window int) {
	t.Helper()
	trial := trialDir(t, cfg)
	before := contents(t, trial)
	var r results.Results
	if err := json.Unmarshal(before["results.json"], &r); err != nil {
		t.Fatal(err)
	}
	counted := slices.IndexFunc(r.Windows, func(w results.Window) bool { return w.Step != nil })
	if counted < 0 {
		t.Fatal("no window counts: the test is void")
	}
	exclude(t, cfg, url, r.Windows[counted].ID)
	amended := contents(t, trial)
	for body, want := range map[string]string{
		`{"name":"","reason":"r","action":"exclude","window_ids":[1]}`:     "name",
		`{"name":"n","reason":"r","action":"exclude","window_ids":[9999]}`: "9999",
		`{"name":"n","reason":"r","action":"paint","window_ids":[1]}`:      "",
		`{"name":"n","reason":"r","action":"withdraw","withdraws":7}`:      "7",
	} {
		if status, answer := post(t, url+"/api/trials/1/amendments", body); status != http.StatusUnprocessableEntity || !strings.Contains(answer, want) {
			t.Errorf("%s: %d %s", body, status, answer)
		}
	}
	status, answer := post(t, url+"/api/trials/1/amendments", `{"name":"A. Person","reason":"it was no wake","action":"withdraw","withdraws":1}`)
	if status != http.StatusCreated {
		t.Fatalf("%d %s", status, answer)
	}
	again := contents(t, trial)
	if !bytes.Equal(again["steps.csv"], before["steps.csv"]) || bytes.Equal(amended["steps.csv"], before["steps.csv"]) {
		t.Error("the steps are not those from before the exclusion")
	}
	return r.Windows[counted].ID
}

// exclude excludes a window on the page. What is then in the trial's directory
// is what a replay gives.
func exclude(t *testing.T, cfg configs.Config, url string, window int) {
	t.Helper()
	status, answer := post(t, url+"/api/trials/1/amendments",
		fmt.Sprintf(`{"name":"A. Person","reason":"wake of a ferry","action":"exclude","window_ids":[%d],"withdraws":0}`, window))
	var kept results.Amendment
	if err := json.Unmarshal([]byte(answer), &kept); err != nil || status != http.StatusCreated || !kept.Applied {
		t.Fatalf("%d %s %v", status, answer, err)
	}
	trial, out := trialDir(t, cfg), t.TempDir()
	if _, err := replay(cfg, []string{filepath.Join(trial, "frames")}, nil, out, io.Discard); err != nil {
		t.Fatal(err)
	}
	got := contents(t, trial)
	for name, want := range contents(t, out) {
		if !bytes.Equal(got[name], want) {
			t.Errorf("%s differs from that of a replay", name)
		}
	}
	if !bytes.Contains(got["results.json"], []byte("wake of a ferry")) {
		t.Error("the results do not tell of the amendment")
	}
}

// post sends JSON.
func post(t *testing.T, url, body string) (status int, answer string) {
	t.Helper()
	resp, err := http.Post(url, "application/json", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(b)
}

// trialDir is the directory of the only trial.
func trialDir(t *testing.T, cfg configs.Config) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(cfg.Journal.Dir, "*-*"))
	if err != nil || len(found) != 1 {
		t.Fatalf("trials %v, %v", found, err)
	}
	return found[0]
}
