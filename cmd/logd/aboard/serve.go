package aboard

import (
	"context"
	"encoding/json"
	"net/http"
	"path/filepath"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"trialday.example/logd/configs"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/page"
	"trialday.example/logd/sink/timeline"
)

// retryListen is how long after a failure the page is tried again.
const retryListen = 10 * time.Second

// serve serves the page, /healthz and /metrics. An address that cannot be had is
// tried again: it may come with the network.
func (d *daemon) serve(ctx context.Context) {
	if d.Listen == nil {
		return
	}
	for ; ctx.Err() == nil; sleep(ctx, retryListen) {
		if err := d.servePage(ctx); err != nil {
			d.log.Warn("the page is not served; recording is not affected", "why", err.Error())
		}
	}
}

func (d *daemon) servePage(ctx context.Context) error {
	h, err := d.handler()
	if err != nil {
		return err
	}
	l, err := d.Listen()
	if err != nil {
		return err
	}
	return page.Serve(ctx, l, h, d.log)
}

func (d *daemon) handler() (http.Handler, error) {
	return page.New(page.Options{
		Trials: d.trials, Live: d.live.Live, Present: d.course, Amend: d.amend, Make: d.Make, Log: d.log, Access: Access(&d.Config),
		Health: http.HandlerFunc(d.healthz), Metrics: d.metrics(),
	})
}

// Access says who may look at the page, by the configuration.
func Access(c *configs.Config) page.Access {
	return page.Access{Listen: c.Page.Listen, Hosts: c.Page.Hosts, PasswordFile: c.Page.PasswordFile, TokenFile: c.Page.TokenFile,
		KeyFile: filepath.Join(c.Journal.Dir, "page.key")}
}

func (d *daemon) trials() ([]page.Trial, error) {
	book, err := logbook.Open(d.Config.Journal.Dir)
	if err != nil {
		return nil, err
	}
	return page.Trials(book)
}

// course is that of the trial that is being recorded, as far as it has come.
func (d *daemon) course(t page.Trial) *timeline.Timeline {
	s, now := d.recorder.status.session.Load(), d.live.derived.Load()
	if s == nil || now == nil || now.of != s || s.trial.Number != t.Number {
		return nil
	}
	return now.course
}

func (d *daemon) metrics() http.Handler {
	registry := prometheus.NewRegistry()
	registry.MustRegister(metrics{d}, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return promhttp.HandlerFor(registry, promhttp.HandlerOpts{MaxRequestsInFlight: 4})
}

// Health is the answer of /healthz.
type Health struct {
	OK        bool     `json:"ok"`
	Recording bool     `json:"recording"` // frames that come are being kept
	Trial     string   `json:"trial"`     // "" before the first frame
	Frames    uint64   `json:"frames"`    // in the trial's journal
	Lost      uint64   `json:"lost"`      // received and not kept, since the start
	Problems  []string `json:"problems"`
}

// healthz answers 200 where all is well, else 503 with what to do.
func (d *daemon) healthz(w http.ResponseWriter, _ *http.Request) {
	h := Health{Recording: d.recorder.status.troubleText() == "", Lost: d.recorder.status.lost.Load(), Problems: d.problems()}
	if s := d.recorder.status.session.Load(); s != nil {
		h.Trial, h.Frames = s.trial.String(), s.written.Load()
	}
	h.OK = len(h.Problems) == 0
	w.Header().Set("Content-Type", "application/json")
	if !h.OK {
		w.WriteHeader(http.StatusServiceUnavailable)
	}
	_ = json.NewEncoder(w).Encode(h)
}
