package main

import (
	"io"
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
func atSpeed(t *testing.T, name string, r recording, cfg configs.Config) *results.Live {
	t.Helper()
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

// The page, live and of the day, has the figures of what drives the boat, and no others.
func TestPageOfBatteriesInBrowser(t *testing.T) {
	browserReady(t)
	usable, length := 20.0, 7.2
	for name, config := range map[string]configs.Battery{"electric": {Instances: []int{1, 2}, UsableKWh: &usable}, "hybrid": {Instances: []int{1}, UsableKWh: &usable}} {
		t.Run(name, func(t *testing.T) {
			cfg := configs.Default()
			cfg.Battery, cfg.Vessel.LengthM = config, &length
			if name == "electric" {
				cfg.Fuel.Kind = "none"
			}
			r := simulatedRecording(t, filepath.Join("../../testdata/completeness", name+".yaml"))
			state := atSpeed(t, name, r, cfg)
			dir := filepath.Join(t.TempDir(), "out")
			if _, err := replay(cfg, []string{r.write(t)}, nil, dir, io.Discard); err != nil {
				t.Fatal(err)
			}
			trials, err := page.Open(dir)
			if err != nil {
				t.Fatal(err)
			}
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
