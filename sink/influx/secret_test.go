package influx

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// The token comes from the file, else from the service manager, else from the
// environment.
func TestTokenIsFound(t *testing.T) {
	t.Setenv("CREDENTIALS_DIRECTORY", "")
	t.Setenv(TokenVariable, "")
	if s, err := readToken(""); err != nil || s.text != "" {
		t.Errorf("%q, %v", s.text, err)
	}
	t.Setenv(TokenVariable, " of-the-environment\n")
	if s, err := readToken(""); err != nil || s.text != "of-the-environment" {
		t.Errorf("%q, %v", s.text, err)
	}
	dir := t.TempDir()
	t.Setenv("CREDENTIALS_DIRECTORY", dir)
	if s, _ := readToken(""); s.text != "of-the-environment" {
		t.Errorf("an empty directory hides the environment: %q", s.text)
	}
	if err := os.WriteFile(filepath.Join(dir, Credential), []byte("of-systemd"), 0o600); err != nil {
		t.Fatal(err)
	}
	if s, err := readToken(""); err != nil || s.text != "of-systemd" {
		t.Errorf("%q, %v", s.text, err)
	}
	if s, err := readToken(writeText(t, "of-the-file\r\n")); err != nil || s.text != "of-the-file" {
		t.Errorf("%q, %v", s.text, err)
	}
	for name, file := range map[string]string{"absent": dir + "/absent", "empty": writeText(t, "\n"), "two lines": writeText(t, "word1\nword2")} {
		if _, err := readToken(file); err == nil || strings.Contains(err.Error(), "word") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Whatever way it is printed, and whatever a server says back, the token does
// not show.
func TestTokenDoesNotShow(t *testing.T) {
	const token = "boat:QuiteSecret99"
	cfg := offline(t, "triple")
	cfg.Influx.TokenFile = writeText(t, token)
	echo := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(http.StatusForbidden)
		fmt.Fprintf(w, "no rights for %s, that is QuiteSecret99", r.Header.Get("Authorization"))
	}))
	defer echo.Close()
	cfg.Influx.URL = echo.URL
	s, err := New(options(cfg, framesOf(t, "accuracy").first(0.2).write(t, t.TempDir())))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	err = s.Run(t.Context())
	if err == nil || !strings.Contains(err.Error(), "403") {
		t.Fatalf("got %v", err)
	}
	dump, _ := json.Marshal(s.Options.Config)
	counts, _ := json.Marshal(s.Stats.Counts())
	shown := fmt.Sprintf("%v %+v %#v %s %s %s %v %+v", s.server.token, s.server.token, s.server.token, err, dump, counts, cfg, s.Options)
	text, _ := json.Marshal(map[string]any{"token": s.server.token})
	shown += string(text)
	if strings.Contains(shown, "QuiteSecret99") {
		t.Errorf("the token shows in %s", shown)
	}
}

// certificate makes one for 127.0.0.1, good from one time to another, and the
// file to trust it by.
func certificate(t *testing.T, from, to time.Time) (tls.Certificate, string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test"}, NotBefore: from, NotAfter: to,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	file := writeText(t, string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, file
}

// overTLS puts TLS before a real server.
func overTLS(t *testing.T, target string, c tls.Certificate) string {
	t.Helper()
	u, err := url.Parse(target)
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewUnstartedServer(httputil.NewSingleHostReverseProxy(u))
	s.Config.ErrorLog = quiet()
	s.TLS = &tls.Config{Certificates: []tls.Certificate{c}}
	s.StartTLS()
	t.Cleanup(s.Close)
	return s.URL
}

// A certificate is believed by the configured authority only, and by the time
// that the receivers give, not by the recorder's clock in 1970.
func TestCertificates(t *testing.T) {
	s := influxDB(t)
	day := time.Date(2031, 6, 2, 0, 0, 0, 0, time.UTC)
	good, ca := certificate(t, day.AddDate(0, -1, 0), day.AddDate(0, 1, 0))
	o := shortDay(t, s, overTLS(t, s.url, good), 0.2, 5000)
	passed := newFakeTime()
	passed.at = time.Unix(0, 0)
	o.Pace = passed.pace()
	try := func(o Options) error {
		sink, err := New(o)
		if err != nil {
			return err
		}
		defer sink.Close()
		return sink.Run(t.Context())
	}
	if err := try(o); err == nil || !strings.Contains(err.Error(), "certificate") || !strings.Contains(err.Error(), "ca_file") {
		t.Errorf("an unknown authority: %v", err)
	}
	o.Config.Influx.CAFile = ca
	if err := try(o); err != nil {
		t.Errorf("by the receivers' time: %v", err)
	}
	verify(t, direct(o, s))
	old, ca := certificate(t, day.AddDate(-1, 0, 0), day.AddDate(0, 0, -1))
	expired := shortDay(t, s, overTLS(t, s.url, old), 0.2, 5000)
	expired.Config.Influx.CAFile, expired.Pace = ca, o.Pace
	if err := try(expired); err == nil || !strings.Contains(err.Error(), "expired") {
		t.Errorf("expired: %v", err)
	}
	for name, file := range map[string]string{"absent": t.TempDir() + "/absent", "no certificate": writeText(t, "text")} {
		o.Config.Influx.CAFile = file
		if err := try(o); err == nil || !strings.Contains(err.Error(), "ca_file") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The token goes nowhere but to the configured server.
func TestRedirectIsNotFollowed(t *testing.T) {
	elsewhere := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("followed") }))
	defer elsewhere.Close()
	away := httptest.NewServer(http.RedirectHandler(elsewhere.URL, http.StatusPermanentRedirect))
	defer away.Close()
	cfg := offline(t, "triple")
	cfg.Influx.URL = away.URL
	s, err := New(options(cfg, framesOf(t, "accuracy").first(0.2).write(t, t.TempDir())))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Run(t.Context()); err == nil || !strings.Contains(err.Error(), "308") {
		t.Errorf("got %v", err)
	}
}

// Without a server there is one clear line.
func TestNoServerConfigured(t *testing.T) {
	o := options(offline(t, "triple"), t.TempDir())
	o.Config.Influx.URL = ""
	if _, err := New(o); err == nil || !strings.Contains(err.Error(), "influx.url") {
		t.Errorf("got %v", err)
	}
	o = options(offline(t, "triple"), t.TempDir()+"/absent")
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Run(t.Context()); !errors.Is(err, errNoFrames) {
		t.Errorf("got %v", err)
	}
}
