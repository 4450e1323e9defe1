package page

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/crypto/bcrypt"
)

const (
	password = "an invented password"
	token    = "an-invented-token-of-no-use"
)

// secret writes a file as Access wants it.
func secret(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(path, []byte(text+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// cheap is a hash that is quickly compared.
func cheap(t *testing.T) string {
	t.Helper()
	hash, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	return string(hash)
}

// locked is the access of an address that others can reach.
func locked(t *testing.T) Access {
	return Access{Listen: ":8642", PasswordFile: secret(t, cheap(t)), TokenFile: secret(t, token)}
}

func TestAnAddressForOthersNeedsASecret(t *testing.T) {
	for listen, alone := range map[string]bool{
		"127.0.0.1:8642": true, "localhost:0": true, "[::1]:8642": true, "[::ffff:127.0.0.1]:1": true, "127.9.9.9:1": true,
		":8642": false, "0.0.0.0:8642": false, "[::]:8642": false, "192.0.2.1:80": false, "logger.local:80": false, "": false,
	} {
		a := Access{Listen: listen}
		if err := a.Check(); (err == nil) != alone {
			t.Errorf("%q: %v", listen, err)
		}
		_, err := New(Options{Access: a, Log: slog.New(slog.DiscardHandler)})
		if !alone && (err == nil || !strings.Contains(err.Error(), "page.password_file")) {
			t.Errorf("%q: %v", listen, err)
		}
		a.TokenFile = "given"
		if err := a.Check(); err != nil {
			t.Errorf("%q with a token: %v", listen, err)
		}
	}
}

func TestSecretsThatAreNoneAreRefused(t *testing.T) {
	open := secret(t, token)
	if err := os.Chmod(open, 0o644); err != nil {
		t.Fatal(err)
	}
	for want, a := range map[string]Access{
		"logd page password": {PasswordFile: secret(t, "not a hash")},
		"short":              {TokenFile: secret(t, "short")},
		"one line":           {TokenFile: secret(t, "")},
		"does not hold":      {TokenFile: secret(t, "two\nlines of something")},
		"chmod o=":           {TokenFile: open},
		"no such file":       {PasswordFile: "/nowhere"},
		"page.token_file":    {TokenFile: "/nowhere"},
		"check the name":     {TokenFile: "/nowhere"},
	} {
		if _, err := New(Options{Access: a, Log: slog.New(slog.DiscardHandler)}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
}

func TestPasswordsAreHashed(t *testing.T) {
	t.Parallel() // hashing is slow, and has to be
	hash, err := HashPassword(password)
	if err != nil || strings.Contains(hash, password) {
		t.Fatal(hash, err)
	}
	a := Access{PasswordFile: secret(t, hash)}
	s, err := a.secrets()
	if err != nil || !s.isPassword(password) || s.isPassword(strings.Repeat("x", 100)) {
		t.Errorf("%v", err)
	}
	s.hash = []byte(cheap(t))
	for _, wrong := range []string{"", password + "x", strings.ToUpper(password), password[1:], strings.Repeat("x", 100), cheap(t)} {
		if s.isPassword(wrong) {
			t.Errorf("%q was taken", wrong)
		}
	}
	for _, bad := range []string{"", "1234567", strings.Repeat("p", maxPassword+1)} {
		if _, err := HashPassword(bad); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
}

// login logs in and returns the cookie as it is sent back.
func (s *served) login(with string) string {
	s.Helper()
	a := s.ask("POST", "/login", fmt.Sprintf("{%q: %q}", "password", with), "Content-Type", "application/json")
	if a.StatusCode != http.StatusNoContent || len(a.Cookies()) != 1 {
		s.Fatalf("login: %d %s", a.StatusCode, a.body)
	}
	c := a.Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" {
		s.Errorf("cookie %+v", c)
	}
	return c.Name + "=" + c.Value
}

func TestNothingIsShownBeforeALogin(t *testing.T) {
	s := serve(t, locked(t))
	s.get("/", http.StatusOK) // the page shows the form
	for _, path := range []string{"/api/live", "/api/live/stream", "/api/trials", "/api/trials/1/results", "/api/trials/1/sheet.html", "/anything", "/assets/../api/live"} {
		if a := s.ask("GET", path, ""); a.StatusCode == http.StatusOK {
			t.Errorf("%s is shown: %.100s", path, a.body)
		}
	}
	if a := s.ask("POST", "/api/trials/1/amendments", `{"name":"N"}`, "Content-Type", "application/json"); a.StatusCode != http.StatusUnauthorized {
		t.Errorf("an amendment: %d", a.StatusCode)
	}
	s.get("/healthz", http.StatusOK) // from this machine

	cookie := s.login(password)
	s.get("/api/trials", http.StatusOK, "Cookie", cookie)
	s.get("/api/trials", http.StatusOK, "Authorization", "Bearer "+token)
	half := len(cookie) / 2
	for _, c := range []string{cookie[:half], cookie + "A", cookie[:half] + "AAAA" + cookie[half+4:], cookieName + "=", cookieName + "=%%%"} {
		s.get("/api/trials", http.StatusUnauthorized, "Cookie", c)
	}
	for _, h := range []string{"Bearer", "Bearer ", "Bearer x", "Bearer " + password, "Basic " + token, token} {
		s.get("/api/trials", http.StatusUnauthorized, "Authorization", h)
	}
	out := s.ask("POST", "/logout", "", "Cookie", cookie)
	if len(out.Cookies()) != 1 || out.Cookies()[0].MaxAge >= 0 {
		t.Errorf("logout: %v", out.Cookies())
	}
}

func TestHealthIsForOthersOnlyWithAToken(t *testing.T) {
	d, err := newDoor(locked(t), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	for from, near := range map[string]bool{"127.0.0.1:1": true, "[::1]:1": true, "192.0.2.7:1": false, "[fe80::1%eth0]:1": false, "": false} {
		r, _ := http.NewRequest("GET", "/healthz", nil)
		if r.RemoteAddr = from; isNear(r) != near {
			t.Errorf("%s: near %v", from, !near)
		}
	}
	if d.none() {
		t.Error("nothing is asked for")
	}
}

func TestALoginOutlivesARestartButNotTheSecret(t *testing.T) {
	a := Access{Listen: ":0", PasswordFile: secret(t, cheap(t)), KeyFile: filepath.Join(t.TempDir(), "state", "page.key")}
	cookie := serve(t, a).login(password)
	serve(t, a).get("/api/trials", http.StatusOK, "Cookie", cookie)
	if info, err := os.Stat(a.KeyFile); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key: %v, %v", info.Mode(), err)
	}
	other := a
	other.PasswordFile = secret(t, cheap(t)) // another salt
	serve(t, other).get("/api/trials", http.StatusUnauthorized, "Cookie", cookie)
	other = a
	other.KeyFile = ""
	serve(t, other).get("/api/trials", http.StatusUnauthorized, "Cookie", cookie)
}

func TestALoginEnds(t *testing.T) {
	s := newSessions(make([]byte, keyBytes), secrets{})
	if !s.valid(s.begin(time.Now())) || s.valid(s.begin(time.Now().Add(-loginLasts-time.Second))) {
		t.Error("a login lasts too long or too short")
	}
	if newSessions(make([]byte, keyBytes), secrets{hash: []byte("x")}).valid(s.begin(time.Now())) {
		t.Error("another password takes the same cookie")
	}
}

func TestPeopleLogInWithTheTokenWhereThereIsNoPassword(t *testing.T) {
	serve(t, Access{Listen: ":0", TokenFile: secret(t, token)}).login(token)
}

func TestPasswordsAreNotTriedForLong(t *testing.T) {
	s := serve(t, locked(t))
	const kind = "application/json"
	status := make(map[int]int)
	for i := range 3 * triesAtOnce {
		status[s.ask("POST", "/login", fmt.Sprintf(`{"password":"guess %d"}`, i), "Content-Type", kind).StatusCode]++
	}
	if status[http.StatusForbidden] == 0 || status[http.StatusForbidden] > triesAtOnce+2 || status[http.StatusTooManyRequests] < triesAtOnce {
		t.Errorf("%v", status)
	}
	a := s.ask("POST", "/login", fmt.Sprintf(`{"password":%q}`, password), "Content-Type", kind)
	if a.StatusCode != http.StatusTooManyRequests || a.Header.Get("Retry-After") == "" {
		t.Errorf("the right one after too many: %d", a.StatusCode)
	}
	other := newTries()
	for i := range 3 * maxAddresses {
		other.allow(fmt.Sprint(i))
	}
	if len(other.from) > maxAddresses {
		t.Errorf("%d addresses are remembered", len(other.from))
	}
}

func TestOtherSitesCannotSend(t *testing.T) {
	s := serve(t, Access{})
	const path, kind, body = "/api/trials/1/amendments", "application/json", `{"name":"N"}`
	for _, h := range [][]string{
		{"Origin", "http://other.example"}, {"Origin", "null"}, {"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"},
		{"Origin", "http://localhost:1"},
	} {
		a := s.ask("POST", path, body, append(h, "Content-Type", kind)...)
		if a.problem(t); a.StatusCode != http.StatusForbidden {
			t.Errorf("%v: %d", h, a.StatusCode)
		}
	}
	// A form of another site can send this without asking.
	if a := s.ask("POST", path, body, "Content-Type", "text/plain"); a.StatusCode != http.StatusUnsupportedMediaType {
		t.Errorf("a form: %d", a.StatusCode)
	}
	if len(s.amended) != 0 {
		t.Fatal("it was handed on")
	}
	for _, h := range [][]string{{"Origin", "http://" + s.address}, {"Sec-Fetch-Site", "same-origin"}, {"X-None", ""}} {
		if a := s.ask("POST", path, body, append(h, "Content-Type", kind)...); a.StatusCode != http.StatusCreated {
			t.Errorf("%v: %d", h, a.StatusCode)
		}
		<-s.amended
	}
}

func TestTheServerAnswersToItsNamesOnly(t *testing.T) {
	a := locked(t)
	a.Hosts = []string{"Logger.local"}
	a.Listen = "boat.example:80"
	s := serve(t, a)
	for host, known := range map[string]bool{
		"127.0.0.1": true, "127.0.0.1:8642": true, "localhost:9": true, "LOCALHOST": true, "logger.local": true, "Logger.Local.:80": true,
		"boat.example": true, "other.example": false, "127.0.0.1.other.example": false, "192.0.2.5": false, "127.0.0.2": false,
		"localhost.other.example:8642": false, "[::1]": false, "x.logger.local": false,
	} {
		if a := s.ask("GET", "/", "", "Host", host); (a.StatusCode == http.StatusOK) != known {
			t.Errorf("%s: %d", host, a.StatusCode)
		}
	}
	for _, raw := range []string{"GET / HTTP/1.0\r\n\r\n", "GET / HTTP/1.1\r\nConnection: close\r\n\r\n", "GET / HTTP/1.1\r\nHost: a\r\nHost: localhost\r\nConnection: close\r\n\r\n"} {
		if got := s.raw(raw); strings.Contains(got, " 200 ") {
			t.Errorf("%q: %.100s", raw, got)
		}
	}
}

func TestBrowsersAreToldWhatMustNotHappen(t *testing.T) {
	s := serve(t, Access{})
	for _, path := range []string{"/", "/api/live", "/api/trials/1/results", "/api/trials/1/sheet.html", "/api/nothing", "/healthz"} {
		a := s.ask("GET", path, "")
		policy := a.Header.Get("Content-Security-Policy")
		if !strings.Contains(policy, "frame-ancestors 'none'") || a.Header.Get("X-Content-Type-Options") != "nosniff" ||
			a.Header.Get("Referrer-Policy") != "no-referrer" || a.Header.Get("X-Frame-Options") != "DENY" || a.Header.Get("Content-Type") == "" {
			t.Errorf("%s: %v", path, a.Header)
		}
		if sheet := strings.HasSuffix(path, "sheet.html"); sheet != strings.Contains(policy, "unsafe-inline") || sheet != strings.Contains(policy, "sandbox") {
			t.Errorf("%s: %s", path, policy)
		}
		if cors := a.Header.Get("Access-Control-Allow-Origin"); cors != "" {
			t.Errorf("%s may be read by %s", path, cors)
		}
	}
}

// Clients that hold connections open without asking for anything are let go.
func TestSlowClientsAreLetGo(t *testing.T) {
	t.Parallel()
	s := serve(t, Access{})
	var all sync.WaitGroup
	for _, begin := range []string{"", "GET / HTTP/1.1\r\nHost: localhost\r\nX-", "POST /api/trials/1/amendments HTTP/1.1\r\nHost: localhost\r\n" +
		"Content-Type: application/json\r\nContent-Length: 1000\r\n\r\n{"} {
		all.Go(func() {
			if got := s.raw(begin); strings.Contains(got, " 200 ") || strings.Contains(got, " 201 ") {
				t.Errorf("%.40q: %s", begin, got)
			}
		})
	}
	all.Wait()
	if len(s.amended) != 0 {
		t.Error("half an amendment was handed on")
	}
}

func TestHeadersAreBounded(t *testing.T) {
	s := serve(t, Access{})
	got := s.raw("GET / HTTP/1.1\r\nHost: localhost\r\nX-Long: " + strings.Repeat("x", 2*maxHeader) + "\r\nConnection: close\r\n\r\n")
	if got != "" && !strings.Contains(got, " 431 ") {
		t.Errorf("%.100s", got)
	}
}

func TestServeTellsWhyItEnds(t *testing.T) {
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
	if err := Serve(context.Background(), l, http.NotFoundHandler(), slog.New(slog.DiscardHandler)); err == nil {
		t.Error("a listener that is closed is no failure")
	}
}

// Whatever comes as a cookie or as a host, none is valid that was not given.
func FuzzRequests(f *testing.F) {
	key := newSessions(make([]byte, keyBytes), secrets{})
	f.Add(key.begin(time.Now()), "localhost:80")
	f.Add("", "[::1]:80")
	f.Fuzz(func(t *testing.T, cookie, host string) {
		if other := newSessions([]byte("another"), secrets{}); other.valid(cookie) {
			t.Errorf("%q is a login", cookie)
		}
		if plain := plainHost(host); plain != strings.ToLower(plain) {
			t.Errorf("%q is %q", host, plain)
		}
	})
}
