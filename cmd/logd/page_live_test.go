package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/watch"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
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

	src, _ = begin(t, cfg, parts[1], listen)
	<-src.done
	after := hear(t, told, "the second part is shown", func(s said) bool {
		return s.Live != nil && s.Recording.Frames > before.Recording.Frames && s.Time > before.Time
	})
	if after.Trial.Number != 1 {
		t.Errorf("another trial after the restart: %+v", after.Trial)
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
	trial := trialDir(t, cfg)
	for name, want := range contents(t, trial) {
		if got := fetched(t, url+"/api/trials/1/"+name); got != string(want) {
			t.Errorf("%s is not that of the trial", name)
		}
	}
	if !strings.Contains(fetched(t, url+"/metrics"), "logd_recording 1") {
		t.Error("no metrics")
	}
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
