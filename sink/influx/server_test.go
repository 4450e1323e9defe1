package influx

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	client "github.com/influxdata/influxdb-client-go/v2"
)

// program finds a server that .ci/influx installed.
func program(t testing.TB, name string) string {
	t.Helper()
	cache, err := os.UserCacheDir()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(cache, "trialday-influx", name)
	if _, err := os.Stat(path); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed; run .ci/influx install", name)
		}
		t.Skipf("%s is not installed; .ci/influx install does that", name)
	}
	return path
}

// realServer is an InfluxDB 1.8.10, or a VictoriaMetrics, that the test may do
// anything to.
type realServer struct {
	t    testing.TB
	args []string
	dir  string
	conf string // its text, with %t for whether it knows Flux
	url  string
	db   string
	cmd  *exec.Cmd
	log  bytes.Buffer
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

func (s *realServer) bucket() string { return s.db + "/autogen" }

// shared is the server of all tests that do it no harm.
var shared struct {
	once      sync.Once
	server    *realServer
	databases atomic.Int64
}

func TestMain(m *testing.M) {
	code := m.Run()
	if shared.server != nil {
		shared.server.kill()
		os.RemoveAll(shared.server.dir)
	}
	os.Exit(code)
}

// influxDB gives an empty database of the shared server.
func influxDB(t testing.TB) *realServer {
	t.Helper()
	program(t, "influxd")
	shared.once.Do(func() {
		dir, err := os.MkdirTemp("", "influx")
		if err != nil {
			t.Fatal(err)
		}
		shared.server = newInflux(t, dir, false)
		shared.server.start(true)
	})
	if shared.server == nil || shared.server.cmd == nil {
		t.Fatal("the shared server did not start")
	}
	s := &realServer{t: t, url: shared.server.url, db: fmt.Sprintf("trials%d", shared.databases.Add(1))}
	s.influxQL("CREATE DATABASE "+s.db, "")
	return s
}

// ownInflux starts a server for one test. With a user in the form user:password
// everybody must then say who they are.
func ownInflux(t testing.TB, user string, flux bool) *realServer {
	t.Helper()
	s := newInflux(t, t.TempDir(), user != "")
	s.start(flux)
	t.Cleanup(s.kill)
	if name, word, ok := strings.Cut(user, ":"); ok {
		s.influxQL(fmt.Sprintf("CREATE USER %s WITH PASSWORD '%s' WITH ALL PRIVILEGES", name, word), "")
	}
	s.influxQL("CREATE DATABASE "+s.db, user)
	return s
}

func newInflux(t testing.TB, dir string, auth bool) *realServer {
	t.Helper()
	port := freePort(t)
	s := &realServer{t: t, dir: dir, db: "trials", url: fmt.Sprintf("http://127.0.0.1:%d", port)}
	s.args = []string{program(t, "influxd"), "-config", filepath.Join(dir, "influxd.conf")}
	s.conf = fmt.Sprintf(`reporting-disabled = true
bind-address = "127.0.0.1:%[4]d"
[meta]
  dir = "%[1]s/meta"
[data]
  dir = "%[1]s/data"
  wal-dir = "%[1]s/wal"
  query-log-enabled = false
[http]
  bind-address = "127.0.0.1:%[2]d"
  flux-enabled = %%t
  log-enabled = false
  auth-enabled = %[3]t
[monitor]
  store-enabled = false
[logging]
  level = "warn"
  suppress-logo = true
`, dir, port, auth, freePort(t))
	return s
}

// start starts it; without Flux that takes a tenth of the time.
func (s *realServer) start(flux bool) {
	s.t.Helper()
	if s.conf != "" {
		if err := os.WriteFile(s.args[2], fmt.Appendf(nil, s.conf, flux), 0o600); err != nil {
			s.t.Fatal(err)
		}
	}
	s.cmd = exec.Command(s.args[0], s.args[1:]...)
	s.cmd.Stdout, s.cmd.Stderr = &s.log, &s.log
	if err := s.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	for range 2400 { // a minute: knowing Flux takes it seconds on a busy machine
		r, err := http.Get(s.url + "/ping")
		if err == nil {
			r.Body.Close()
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	s.t.Fatalf("the server does not start: %s", s.log.String())
}

// kill ends it without any notice.
func (s *realServer) kill() {
	if s.cmd != nil {
		_ = s.cmd.Process.Kill()
		_ = s.cmd.Wait()
		s.cmd = nil
	}
}

func (s *realServer) influxQL(q, user string) string {
	s.t.Helper()
	ask, err := http.NewRequest(http.MethodPost, s.url+"/query?"+url.Values{"db": {s.db}, "q": {q}}.Encode(), nil)
	if err != nil {
		s.t.Fatal(err)
	}
	if name, word, ok := strings.Cut(user, ":"); ok {
		ask.SetBasicAuth(name, word)
	}
	r, err := http.DefaultClient.Do(ask)
	if err != nil {
		s.t.Fatal(err)
	}
	defer r.Body.Close()
	text, _ := io.ReadAll(r.Body)
	if r.StatusCode != http.StatusOK || bytes.Contains(text, []byte(`"error"`)) {
		s.t.Fatalf("%s: %s %s", q, r.Status, text)
	}
	return string(text)
}

// flux runs a query and returns its rows.
func (s *realServer) flux(q string) []map[string]any {
	s.t.Helper()
	c := client.NewClient(s.url, "")
	defer c.Close()
	rows, err := c.QueryAPI("").Query(context.Background(), q)
	if err != nil {
		s.t.Fatalf("%v in\n%s", err, q)
	}
	defer rows.Close()
	var out []map[string]any
	for rows.Next() {
		out = append(out, rows.Record().Values())
	}
	if rows.Err() != nil {
		s.t.Fatalf("%v in\n%s", rows.Err(), q)
	}
	return out
}
