package page

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

const (
	cookieName = "logd_session"
	keyBytes   = 32
	// loginLasts is how long a login lasts: a person logs in once for a trial.
	loginLasts = 14 * 24 * time.Hour
)

// sessions knows its cookies again by a code that only it can make: nothing is
// kept for each. Another password or token ends them all.
type sessions struct{ key []byte }

func newSessions(key []byte, s secrets) sessions {
	return sessions{code(key, s.hash, s.token)}
}

func code(key []byte, parts ...[]byte) []byte {
	mac := hmac.New(sha256.New, key)
	for _, p := range parts {
		mac.Write(p)
		mac.Write([]byte{0})
	}
	return mac.Sum(nil)
}

// begin makes the value of a cookie.
func (s sessions) begin(now time.Time) string {
	until := binary.BigEndian.AppendUint64(nil, uint64(now.Add(loginLasts).Unix()))
	return base64.RawURLEncoding.EncodeToString(append(until, code(s.key, until)...))
}

func (s sessions) valid(cookie string) bool {
	b, err := base64.RawURLEncoding.DecodeString(cookie)
	if err != nil || len(b) != 8+sha256.Size || !hmac.Equal(b[8:], code(s.key, b[:8])) {
		return false
	}
	// A clock that was at 1970 at login only makes the login short.
	return time.Now().Unix() < int64(binary.BigEndian.Uint64(b[:8]))
}

// sessionKey reads the key in a file, or makes it. The key that comes with an
// error is a new one that is not kept.
func sessionKey(path string) ([]byte, error) {
	fresh := make([]byte, keyBytes)
	rand.Read(fresh)
	if path == "" {
		return fresh, nil
	}
	old, err := os.ReadFile(path)
	if err == nil && len(old) == keyBytes {
		return old, nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fresh, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fresh, err
	}
	return fresh, os.WriteFile(path, fresh, 0o600)
}

// tries bounds how often passwords are tried, by each address and in all, and
// how many are worked on at a time: one check costs a part of a second.
type tries struct {
	mu      sync.Mutex
	from    map[string]*rate.Limiter
	all     *rate.Limiter
	working chan struct{}
}

const (
	maxAddresses = 1000
	triesAtOnce  = 5
	trySpacing   = 10 * time.Second
)

func newTries() tries {
	return tries{from: make(map[string]*rate.Limiter), all: rate.NewLimiter(1, 2*triesAtOnce), working: make(chan struct{}, 1)}
}

// allow tells whether an address may try now.
func (t *tries) allow(address string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	l := t.from[address]
	if l == nil {
		if len(t.from) >= maxAddresses {
			clear(t.from)
		}
		l = rate.NewLimiter(rate.Every(trySpacing), triesAtOnce)
		t.from[address] = l
	}
	return l.Allow() && t.all.Allow()
}

// login answers where people log in: {"password": "..."} to /login.
func (d *door) login(mux *http.ServeMux) {
	mux.HandleFunc("POST /login", d.enter)
	mux.HandleFunc("POST /logout", func(w http.ResponseWriter, _ *http.Request) {
		setCookie(w, "", -1)
		w.WriteHeader(http.StatusNoContent)
	})
}

// enter checks a password.
func (d *door) enter(w http.ResponseWriter, r *http.Request) {
	var given struct {
		Password string `json:"password"`
	}
	if !readBody(w, r, &given) {
		return
	}
	address, _, _ := net.SplitHostPort(r.RemoteAddr)
	if !d.tries.allow(address) {
		w.Header().Set("Retry-After", fmt.Sprint(trySpacing.Seconds()))
		fail(w, http.StatusTooManyRequests, fmt.Sprintf("too many tries: wait %g seconds", trySpacing.Seconds()))
		return
	}
	d.tries.working <- struct{}{}
	right := d.isPassword(given.Password)
	<-d.tries.working
	if !right {
		d.log.Warn("a wrong password on the page", "from", address)
		fail(w, http.StatusForbidden, "that is not the password")
		return
	}
	setCookie(w, d.sessions.begin(time.Now()), int(loginLasts.Seconds()))
	w.WriteHeader(http.StatusNoContent)
}

func setCookie(w http.ResponseWriter, value string, maxAge int) {
	http.SetCookie(w, &http.Cookie{Name: cookieName, Value: value, Path: "/", MaxAge: maxAge,
		HttpOnly: true, SameSite: http.SameSiteStrictMode})
}
