package page

import (
	"bytes"
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"os"
	"slices"
	"strings"

	"golang.org/x/crypto/bcrypt"
)

// Access says who may look.
//
// Without a password and a token everybody may who reaches the address, which
// is allowed only where that is this machine's own. With one of them nothing is
// shown before a login, or to a program without the token. To a program on
// this machine /healthz and /metrics answer in any case.
//
// There is no TLS: on a boat there is no name that a certificate could be for.
// The network aboard must be one that only those aboard can hear.
type Access struct {
	// Listen is the address that is served, as in page.listen.
	Listen string
	// Hosts are further names that the server may be called by.
	Hosts []string
	// PasswordFile holds the hash that HashPassword makes; "" for none.
	PasswordFile string
	// TokenFile holds one line for programs, which send it as a bearer token;
	// where there is no password people log in with it too. "" for none.
	TokenFile string
	// KeyFile is where the key of sessions is kept, so that a login outlives a
	// restart; it is made if it is not there. "": it does not.
	KeyFile string
}

// Check refuses an address that others can reach without a password or token.
func (a *Access) Check() error {
	if a.PasswordFile != "" || a.TokenFile != "" || isLoopback(a.Listen) {
		return nil
	}
	return fmt.Errorf("page.listen: %q can be reached by others: set page.password_file (made by: logd page password) "+
		"or page.token_file, or listen on 127.0.0.1", a.Listen)
}

func isLoopback(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return false
	}
	ip, err := netip.ParseAddr(host)
	return strings.EqualFold(host, "localhost") || err == nil && ip.Unmap().IsLoopback()
}

// maxPassword is the limit of bcrypt, in bytes.
const maxPassword = 72

// HashPassword makes the line that a password file holds (bcrypt, Provos and
// Mazières 1999).
func HashPassword(password string) (string, error) {
	if len(password) < 8 || len(password) > maxPassword {
		return "", fmt.Errorf("a password has 8 to %d bytes; this one has %d", maxPassword, len(password))
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(password), 12)
	return string(hash), err
}

// minToken is how many characters a token has at least: nobody should guess it.
const minToken = 20

// secrets are what Access names.
type secrets struct {
	hash  []byte // of the password; nil for none
	token []byte // SHA-256; nil for none
}

func (a *Access) secrets() (s secrets, err error) {
	if a.PasswordFile != "" {
		if s.hash, err = secretLine(a.PasswordFile, "page.password_file"); err != nil {
			return s, err
		}
		if _, err := bcrypt.Cost(s.hash); err != nil {
			return s, fmt.Errorf("page.password_file: %s does not hold a hash; make it with: logd page password", a.PasswordFile)
		}
	}
	if a.TokenFile != "" {
		token, err := secretLine(a.TokenFile, "page.token_file")
		if err != nil {
			return s, err
		}
		if len(token) < minToken {
			return s, fmt.Errorf("page.token_file: the token in %s is short; it has %d characters or more", a.TokenFile, minToken)
		}
		sum := sha256.Sum256(token)
		s.token = sum[:]
	}
	return s, nil
}

// secretLine reads a file of one line that others may not read.
func secretLine(path, key string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w; check the name and its rights", key, err)
	}
	if info.Mode().Perm()&0o007 != 0 {
		return nil, fmt.Errorf("%s: everybody on this machine can read %s; correct it with: chmod o= %s", key, path, path)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w; check its rights", key, err)
	}
	text = bytes.TrimSpace(text)
	if len(text) == 0 || bytes.ContainsAny(text, "\r\n") {
		return nil, fmt.Errorf("%s: %s does not hold one line", key, path)
	}
	return text, nil
}

// none tells whether nothing is asked for.
func (s *secrets) none() bool { return s.hash == nil && s.token == nil }

// isToken compares without telling by the time it takes how much is right.
func (s *secrets) isToken(text string) bool {
	sum := sha256.Sum256([]byte(text))
	return s.token != nil && subtle.ConstantTimeCompare(sum[:], s.token) == 1
}

// isPassword tells whether a person may log in with a text. It takes a part of
// a second.
func (s *secrets) isPassword(text string) bool {
	if s.hash == nil {
		return s.isToken(text)
	}
	return len(text) <= maxPassword && bcrypt.CompareHashAndPassword(s.hash, []byte(text)) == nil
}

// door lets in who may come in.
type door struct {
	secrets
	sessions sessions
	tries    tries
	listen   string
	names    []string // of the server, in lower case
	log      *slog.Logger
}

func newDoor(a Access, log *slog.Logger) (*door, error) {
	if err := a.Check(); err != nil {
		return nil, err
	}
	known, err := a.secrets()
	if err != nil {
		return nil, err
	}
	host, _, _ := net.SplitHostPort(a.Listen)
	d := &door{secrets: known, tries: newTries(), listen: host, names: []string{"localhost"}, log: log}
	for _, name := range append(slices.Clone(a.Hosts), host) {
		if name != "" {
			d.names = append(d.names, plainHost(name))
		}
	}
	if known.none() {
		return d, nil // nobody logs in
	}
	key, err := sessionKey(a.KeyFile)
	if err != nil {
		log.Warn("a login on the page does not outlive a restart", "why", err.Error())
	}
	d.sessions = newSessions(key, known)
	return d, nil
}

// hosts refuses requests that were meant for another name: a page of another
// site whose name was made to point here (DNS rebinding). The address at which
// a request arrived is right in any case, as no name points to it.
func (d *door) hosts(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host := plainHost(r.Host)
		if !slices.Contains(d.names, host) && !isArrival(r, host) {
			fail(w, http.StatusMisdirectedRequest, "this server is not called that; its names are in page.hosts")
			return
		}
		next.ServeHTTP(w, r)
	})
}

// plainHost is a host without port, brackets and final dot, in lower case.
func plainHost(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	return strings.ToLower(strings.TrimSuffix(host, "."))
}

// isArrival tells whether host is the address at which a request arrived.
func isArrival(r *http.Request, host string) bool {
	ip, err := netip.ParseAddr(host)
	at, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	return err == nil && ok && ip.Unmap() == at.AddrPort().Addr().Unmap().WithZone("")
}

// isNear tells whether a request comes from this machine.
func isNear(r *http.Request) bool {
	from, err := netip.ParseAddrPort(r.RemoteAddr)
	return err == nil && from.Addr().Unmap().IsLoopback()
}

// guard asks for a login where there is something to ask for. The files of the
// page itself hold no secret, and show the form.
func (d *door) guard(next http.Handler) http.Handler {
	if d.none() {
		return next
	}
	mux := http.NewServeMux()
	d.login(mux)
	mux.Handle("GET /{$}", next)
	mux.Handle("GET /assets/", next)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		status := r.URL.Path == "/healthz" || r.URL.Path == "/metrics"
		if d.knows(r) || status && isNear(r) {
			next.ServeHTTP(w, r)
			return
		}
		w.Header().Set("WWW-Authenticate", "Bearer")
		fail(w, http.StatusUnauthorized, "log in, or send the token")
	})
	return mux
}

// knows tells whether a request comes from someone who logged in, or has the
// token.
func (d *door) knows(r *http.Request) bool {
	if kind, token, ok := strings.Cut(r.Header.Get("Authorization"), " "); ok && strings.EqualFold(kind, "Bearer") {
		return d.isToken(strings.TrimSpace(token))
	}
	c, err := r.Cookie(cookieName)
	return err == nil && d.sessions.valid(c.Value)
}

// pagePolicy allows a page what comes from this server, and nothing written
// into the page itself. The sheet brings its style with it and is allowed that,
// but no script at all.
const (
	pagePolicy  = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'"
	sheetPolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; base-uri 'none'; form-action 'none'; " +
		"frame-ancestors 'none'; sandbox"
)

// headers tells browsers what must not happen to what they get.
func headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", pagePolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=(), payment=()")
		next.ServeHTTP(w, r)
	})
}
