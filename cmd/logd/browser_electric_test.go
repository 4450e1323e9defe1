package main

import (
	"log/slog"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/sink/page"
	"trialday.example/logd/sink/results"
)

// atSpeed is how the day of a boat with batteries stands once it has four steps and
// holds another at speed.
func atSpeed(t *testing.T, name string, cfg configs.Config) *results.Live {
	t.Helper()
	r := simulatedRecording(t, filepath.Join("../../testdata/completeness", name+".yaml"))
	d := day.New(cfg, version, func() []string { return r.buses })
	look := r.frames[0].Time
	for i := range r.frames {
		d.Frame(&r.frames[i])
		if r.frames[i].Time-look < int64(time.Second) {
			continue
		}
		look = r.frames[i].Time
		l := d.Live()
		if sog := l.Now.SOGKn; len(l.Steps) >= 4 && l.Hold.State == results.HoldSteady && sog != nil && *sog > 12 {
			l.Trial.Number, l.Trial.Name, l.Recording.OK, l.Recording.Frames = 1, name, true, uint64(i)
			return l
		}
	}
	t.Fatalf("%s holds no step at speed", name)
	return nil
}

// The live page has the figures of what drives the boat, and no others.
func TestPageOfBatteriesInBrowser(t *testing.T) {
	browserReady(t)
	trials, err := page.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for name, config := range map[string]configs.Battery{"electric": {Instances: []int{1, 2}}, "hybrid": {Instances: []int{1}}} {
		t.Run(name, func(t *testing.T) {
			cfg := configs.Default()
			cfg.Battery.Instances = config.Instances
			if name == "electric" {
				cfg.Fuel.Kind = "none"
			}
			state := atSpeed(t, name, cfg)
			h, err := page.New(page.Options{Trials: trials, Access: page.Access{Listen: "127.0.0.1:0"}, Log: slog.New(slog.DiscardHandler),
				Live: func() (*results.Live, <-chan struct{}) { return state, nil }})
			if err != nil {
				t.Fatal(err)
			}
			s := httptest.NewServer(h)
			defer s.Close()
			t.Setenv("DRIVE", name)
			inBrowser(t, "batteries.mjs", s.URL, nil)
		})
	}
}
