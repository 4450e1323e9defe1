package influx

import (
	"context"
	"net/http"
	"strings"
	"time"

	"trialday.example/logd/configs"
)

// Ping asks whether the server is there, as sending would: by the configured
// authority, and by the time now. No token is sent, and any answer is one. What
// it returns says what to do.
func Ping(ctx context.Context, cfg configs.Influx, now func() time.Time) error {
	s := &server{cfg: cfg}
	var err error
	if s.http, err = newHTTP(cfg, now); err != nil {
		return err
	}
	defer s.http.CloseIdleConnections()
	ask, err := http.NewRequestWithContext(ctx, http.MethodGet, strings.TrimSuffix(cfg.URL, "/")+"/ping", nil)
	if err != nil {
		return s.failure(err)
	}
	answer, err := s.http.Do(ask)
	if err != nil {
		return s.failure(err)
	}
	return answer.Body.Close()
}
