package influx

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	clienthttp "github.com/influxdata/influxdb-client-go/v2/api/http"
)

// kind says what to do about a failure.
type kind uint8

const (
	unreachable kind = iota // no answer: try again, later and later
	busy                    // the server wants to be left alone for a while, or is in trouble
	refused                 // configuration: nothing will do until somebody changes something
	rejected                // these lines are not taken
	tooLarge                // too many lines at once
)

// failure is why lines were not stored.
type failure struct {
	kind   kind
	wait   time.Duration // that the server asked for; 0: it did not
	reason string        // on one line, without secrets
	remedy string
}

func (f *failure) Error() string {
	if f.remedy == "" {
		return f.reason
	}
	return f.reason + "; " + f.remedy
}

// failure makes sense of an error of the client.
func (s *server) failure(err error) *failure {
	f := &failure{reason: s.say(err.Error())}
	var h *clienthttp.Error
	if !errors.As(err, &h) || h.StatusCode == 0 {
		var certificate *tls.CertificateVerificationError
		if errors.As(err, &certificate) {
			f.kind, f.remedy = refused, "check influx.ca_file, the server's name and the clock"
		}
		return f
	}
	f.wait = retryAfter(h)
	if h.Message != "" {
		f.reason = s.say(fmt.Sprintf("%d %s: %s", h.StatusCode, http.StatusText(h.StatusCode), h.Message))
	} else {
		f.reason = s.say(fmt.Sprintf("%d %s", h.StatusCode, http.StatusText(h.StatusCode)))
	}
	switch code := h.StatusCode; {
	case code == http.StatusUnauthorized, code == http.StatusForbidden:
		f.kind, f.remedy = refused, "check the token and its right to write to the bucket "+s.cfg.Bucket
	case code == http.StatusNotFound:
		f.kind, f.remedy = refused, "check influx.url, influx.org and influx.bucket; the bucket "+s.cfg.Bucket+" must exist"
	case code == http.StatusRequestEntityTooLarge:
		f.kind = tooLarge
	case code == http.StatusRequestTimeout, code == http.StatusTooManyRequests, code >= 500:
		f.kind = busy
	case code == http.StatusBadRequest, code == http.StatusUnprocessableEntity:
		f.kind = rejected
	default:
		f.kind, f.remedy = refused, "check that influx.url is the server itself"
	}
	return f
}

// retryAfter is what the server asked for: seconds, or a date by its own clock
// (RFC 9110, 10.2.3).
func retryAfter(h *clienthttp.Error) time.Duration {
	if h.RetryAfter > 0 {
		return time.Duration(h.RetryAfter) * time.Second
	}
	at, err := http.ParseTime(h.Header.Get("Retry-After"))
	now, nerr := http.ParseTime(h.Header.Get("Date"))
	if err != nil || nerr != nil {
		return 0
	}
	return max(0, at.Sub(now))
}

const maxReason = 300 // bytes

// say puts a foreign text on one line, short and without secrets.
func (s *server) say(text string) string {
	text = strings.Join(strings.Fields(s.token.hide(text)), " ")
	if len(text) > maxReason {
		text = strings.ToValidUTF8(text[:maxReason], "") + " ..."
	}
	return text
}
