package aboard

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// serve answers /healthz and /metrics. An address that cannot be had is tried
// again: it may come with the network.
func (d *daemon) serve(ctx context.Context) {
	if d.Listen == nil {
		return
	}
	server := &http.Server{Handler: d.handler(), ReadHeaderTimeout: 5 * time.Second, MaxHeaderBytes: 1 << 16}
	stop := context.AfterFunc(ctx, func() { server.Close() })
	defer stop()
	for {
		l, err := d.Listen()
		if err == nil {
			err = server.Serve(l)
		}
		if ctx.Err() != nil {
			return
		}
		d.log.Warn("the page is not served; recording is not affected", "why", err.Error())
		sleep(ctx, retryListen)
	}
}

const retryListen = 10 * time.Second

func (d *daemon) handler() http.Handler {
	registry := prometheus.NewRegistry()
	registry.MustRegister(metrics{d}, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(registry, promhttp.HandlerOpts{MaxRequestsInFlight: 4}))
	mux.HandleFunc("GET /healthz", d.healthz)
	return mux
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
