package influx

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"time"

	client "github.com/influxdata/influxdb-client-go/v2"
	clientlog "github.com/influxdata/influxdb-client-go/v2/log"

	"trialday.example/logd/configs"
)

// What the client would log we return as errors.
func init() { clientlog.Log = nil }

// server is the connection to the server.
type server struct {
	cfg    configs.Influx
	token  secret
	client client.Client
	http   *http.Client
}

// connect prepares the connection; nothing is sent yet. Of now see newHTTP.
func connect(cfg configs.Influx, now func() time.Time) (*server, error) {
	if cfg.URL == "" {
		return nil, errors.New("influx.url is not configured: there is no server to send to")
	}
	token, err := readToken(cfg.TokenFile)
	if err != nil {
		return nil, err
	}
	s := &server{cfg: cfg}
	if s.http, err = newHTTP(cfg, now); err != nil {
		return nil, err
	}
	s.use(token)
	return s, nil
}

// newHTTP makes what speaks HTTP with the server. Now is the time by which the
// server's certificate is judged: a recorder without a clock of its own that
// starts in 1970 would believe none.
func newHTTP(cfg configs.Influx, now func() time.Time) (*http.Client, error) {
	security := &tls.Config{MinVersion: tls.VersionTLS12, Time: now}
	if cfg.CAFile != "" {
		pool, err := readCA(cfg.CAFile)
		if err != nil {
			return nil, err
		}
		security.RootCAs = pool
	}
	timeout := time.Duration(cfg.TimeoutS * float64(time.Second))
	return &http.Client{
		Timeout: timeout,
		Transport: &http.Transport{
			Proxy:                 http.ProxyFromEnvironment,
			DialContext:           (&net.Dialer{Timeout: timeout, KeepAlive: 15 * time.Second}).DialContext,
			TLSClientConfig:       security,
			TLSHandshakeTimeout:   timeout,
			ResponseHeaderTimeout: timeout,
			MaxIdleConnsPerHost:   1,
			IdleConnTimeout:       time.Minute,
			ForceAttemptHTTP2:     true,
		},
		// The token goes to the configured server and nowhere else.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}, nil
}

// use makes a client with a token.
func (s *server) use(token secret) {
	s.token = token
	s.client = client.NewClientWithOptions(s.cfg.URL, token.text,
		client.DefaultOptions().SetHTTPClient(s.http).SetApplicationName("logd"))
}

// renew reads the token again: somebody may have put another in its place.
func (s *server) renew() {
	if token, err := readToken(s.cfg.TokenFile); err == nil && token != s.token {
		s.client.Close()
		s.use(token)
	}
}

func readCA(file string) (*x509.CertPool, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("certificate authority: %w; check influx.ca_file", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("certificate authority: %s holds no certificate in PEM; check influx.ca_file", file)
	}
	return pool, nil
}

// send writes packed lines; nil means that the server has them for good. The
// client's own way would pack them again at each attempt.
func (s *server) send(ctx context.Context, packed []byte) *failure {
	service := s.client.HTTPService()
	to := service.ServerAPIURL() + "write?" + url.Values{"org": {s.cfg.Org}, "bucket": {s.cfg.Bucket}, "precision": {"ns"}}.Encode()
	err := service.DoPostRequest(ctx, to, bytes.NewReader(packed),
		func(r *http.Request) { r.Header.Set("Content-Encoding", "gzip") },
		func(r *http.Response) error { return r.Body.Close() })
	if err == nil {
		return nil
	}
	f := s.failure(err)
	if f.kind == unreachable {
		// A connection that failed may be half open: the next is a new one.
		s.http.CloseIdleConnections()
	}
	return f
}

func (s *server) close() {
	s.client.Close()
	s.http.CloseIdleConnections()
}
