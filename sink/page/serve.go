package page

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"time"

	"golang.org/x/net/netutil"
)

// Bounds of what a client may cost.
const (
	maxClients = 128
	headerIn   = 5 * time.Second
	requestIn  = 15 * time.Second
	answerIn   = time.Minute
	idleFor    = time.Minute
	maxHeader  = 16 << 10
	stopWithin = 500 * time.Millisecond
)

// Serve answers requests at l until ctx ends, which ends all streams, lets what
// is being answered be finished within half a second, and returns nil.
func Serve(ctx context.Context, l net.Listener, h http.Handler, log *slog.Logger) error {
	server := &http.Server{
		Handler: h, ReadHeaderTimeout: headerIn, ReadTimeout: requestIn, WriteTimeout: answerIn,
		IdleTimeout: idleFor, MaxHeaderBytes: maxHeader,
		BaseContext: func(net.Listener) context.Context { return ctx },
		ErrorLog:    slog.NewLogLogger(log.Handler(), slog.LevelDebug),
	}
	stopped := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(stopped)
		patience, end := context.WithTimeout(context.Background(), stopWithin)
		defer end()
		if server.Shutdown(patience) != nil {
			server.Close()
		}
	})
	err := server.Serve(netutil.LimitListener(l, maxClients))
	if stop() {
		return err // ctx goes on: the listener failed
	}
	<-stopped
	return nil
}
