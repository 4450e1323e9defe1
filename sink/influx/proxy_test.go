package influx

import (
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"sync/atomic"
	"testing"
)

// proxy stands before a real server and spoils requests to write.
type proxy struct {
	*httptest.Server
	// spoil handles the n-th write, counted from 1; it returns false to let it
	// through. Forward gives what the server answered.
	spoil  func(n int64, w http.ResponseWriter, r *http.Request, forward func() int) bool
	writes atomic.Int64
}

func newProxy(t testing.TB, target string, spoil func(int64, http.ResponseWriter, *http.Request, func() int) bool) *proxy {
	t.Helper()
	u, err := url.Parse(target)
	if err != nil {
		t.Fatal(err)
	}
	through := httputil.NewSingleHostReverseProxy(u)
	through.ErrorLog = nil
	through.ErrorHandler = func(w http.ResponseWriter, _ *http.Request, _ error) { reset(w) }
	p := &proxy{spoil: spoil}
	p.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/api/v2/write" {
			through.ServeHTTP(w, r)
			return
		}
		n := p.writes.Add(1)
		forward := func() int {
			answer := httptest.NewRecorder()
			through.ServeHTTP(answer, r)
			return answer.Code
		}
		if p.spoil == nil || !p.spoil(n, w, r, forward) {
			through.ServeHTTP(w, r)
		}
	}))
	t.Cleanup(func() {
		p.CloseClientConnections()
		p.Close()
	})
	return p
}

// reset breaks the connection off without an answer.
func reset(w http.ResponseWriter) {
	h, ok := w.(http.Hijacker)
	if !ok {
		return
	}
	c, _, err := h.Hijack()
	if err != nil {
		return
	}
	if tcp, ok := c.(*net.TCPConn); ok {
		_ = tcp.SetLinger(0)
	}
	c.Close()
}

// answer gives a status of the server's making.
func answer(w http.ResponseWriter, code int, retryAfter, text string) {
	if retryAfter != "" {
		w.Header().Set("Retry-After", retryAfter)
	}
	w.WriteHeader(code)
	_, _ = io.WriteString(w, text)
}
