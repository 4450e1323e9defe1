// Package page serves what people look at: the state of the trial that goes
// on, the trials of a directory with their results, and the page in the
// browser that shows both.
//
// # Invariants
//
//   - A client delays nobody: there is a bounded number of them, each has a
//     bounded time for each request and each write, and one that is slow skips
//     states of the live stream.
//   - Only files of a fixed list are served, from directories that the list of
//     trials names. No part of a path comes from a request.
//   - Nothing is told to whom it is not for: see Access.
//   - The only thing that a request can change is to append an amendment.
//
// # Interface
//
//	GET  /                               the page; its files under /assets/
//	GET  /api/live                       results.Live
//	GET  /api/live/stream                the same as server-sent events, see stream.go
//	GET  /api/trials                     list of Trial
//	GET  /api/trials/{n}/results         results.json
//	GET  /api/trials/{n}/timeline        timeline.View; from, to (s since 1970) and points
//	GET  /api/trials/{n}/track           timeline.Track; the same
//	GET  /api/trials/{n}/{file}          sheet.html and the other files of the list in files.go
//	POST /api/trials/{n}/amendments      an Amendment; 201 with what was kept
//	POST /login, /logout                 where a password is asked for: {"password": "..."}
//	GET  /healthz, /metrics              where there are such
//
// A failure of /api is {"error": "one plain line"}.
package page

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"log/slog"
	"net/http"

	"github.com/klauspost/compress/gzhttp"

	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/timeline"
)

//go:embed assets
var embedded embed.FS

// Options says what is served, to whom.
type Options struct {
	// Trials lists the trials; see Open.
	Trials func() ([]Trial, error)
	// Live is the present state and a channel that is closed when there is
	// another.
	Live func() (state *results.Live, next <-chan struct{})
	// Present is the course of the trial that is being recorded; nil for any other
	// trial, whose course is in its directory. It can be nil itself.
	Present func(t Trial) *timeline.Timeline
	// Make makes files of the list, by name, of the results in a directory, where
	// they are not in it.
	Make map[string]func(ctx context.Context, w io.Writer, dir string) error
	// Amend keeps an amendment and derives the results again. What it returns is
	// the answer. An error that is a Refusal is the client's. Nil: none is kept.
	Amend func(ctx context.Context, t Trial, a Amendment) (kept any, err error)

	// Health and Metrics answer /healthz and /metrics; nil: not served.
	Health, Metrics http.Handler

	Access Access
	Log    *slog.Logger
}

// Refusal is an error whose cause is the request.
type Refusal struct{ Text string }

func (r Refusal) Error() string { return r.Text }

// server answers requests.
type server struct {
	Options
	streams chan struct{} // has an element for each open stream
	changes changes
	opened  opened
	made    lastMade
}

// New makes the handler. Its error is one of Access.
func New(o Options) (http.Handler, error) {
	assets, err := fs.Sub(embedded, "assets")
	if err != nil {
		return nil, err
	}
	door, err := newDoor(o.Access, o.Log)
	if err != nil {
		return nil, err
	}
	s := &server{Options: o, streams: make(chan struct{}, maxStreams)}
	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		fail(w, http.StatusForbidden, "this came from a page of another site")
	}))
	return headers(door.hosts(origin.Handler(door.guard(s.routes(assets))))), nil
}

func (s *server) routes(assets fs.FS) http.Handler {
	plain := http.NewServeMux()
	index, files := newStatic(assets)
	plain.Handle("GET /{$}", index)
	plain.Handle("GET /assets/", http.StripPrefix("/assets", files))
	plain.HandleFunc("GET /api/live", s.live)
	plain.HandleFunc("GET /api/trials", s.list)
	plain.HandleFunc("GET /api/trials/{n}/results", s.of(s.results))
	plain.HandleFunc("GET /api/trials/{n}/timeline", s.of(s.timeline))
	plain.HandleFunc("GET /api/trials/{n}/track", s.of(s.track))
	plain.HandleFunc("GET /api/trials/{n}/{file}", s.of(s.file))
	plain.HandleFunc("GET /api/", func(w http.ResponseWriter, r *http.Request) {
		fail(w, http.StatusNotFound, "there is nothing at "+r.URL.Path)
	})
	for path, h := range map[string]http.Handler{"GET /healthz": s.Health, "GET /metrics": s.Metrics} {
		if h != nil {
			plain.Handle(path, h)
		}
	}
	all := http.NewServeMux()
	all.Handle("/", gzhttp.GzipHandler(plain))
	all.HandleFunc("GET /api/live/stream", s.stream)
	all.HandleFunc("POST /api/trials/{n}/amendments", s.of(s.amend))
	return all
}

// reply sends v as JSON.
func reply(w http.ResponseWriter, status int, v any) {
	b, err := json.Marshal(v)
	if err != nil {
		status, b = http.StatusInternalServerError, []byte(`{"error":"the answer cannot be written"}`)
	}
	h := w.Header()
	h.Set("Content-Type", "application/json")
	if h.Get("Cache-Control") == "" {
		h.Set("Cache-Control", "no-store")
	}
	w.WriteHeader(status)
	_, _ = w.Write(append(b, '\n'))
}

// fail sends one plain line on what is wrong.
func fail(w http.ResponseWriter, status int, text string) {
	reply(w, status, struct {
		Error string `json:"error"`
	}{text})
}

// failed sends an error: one of the client's with its text, else the text with
// a note for the log.
func (s *server) failed(w http.ResponseWriter, err error) {
	if refusal, ok := errors.AsType[Refusal](err); ok {
		fail(w, http.StatusUnprocessableEntity, refusal.Text)
		return
	}
	s.Log.Warn("the page could not be answered", "why", err.Error())
	fail(w, http.StatusInternalServerError, err.Error())
}

func (s *server) live(w http.ResponseWriter, _ *http.Request) {
	state, _ := s.Live()
	reply(w, http.StatusOK, state)
}
