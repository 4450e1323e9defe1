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
	url  string
	cmd  *exec.Cmd
	log  bytes.Buffer
}

const (
	database = "trials"
	bucket   = "trials/autogen"
)

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// startInflux starts a server with an empty database. Users in the form
// user:password are made, and must then say who they are.
func startInflux(t testing.TB, user string) *realServer {
	t.Helper()
	bin, dir, port := program(t, "influxd"), t.TempDir(), freePort(t)
	conf := filepath.Join(dir, "influxd.conf")
	text := fmt.Sprintf(`reporting-disabled = true
bind-address = "127.0.0.1:%[4]d"
[meta]
  dir = "%[1]s/meta"
[data]
  dir = "%[1]s/data"
  wal-dir = "%[1]s/wal"
  query-log-enabled = false
[http]
  bind-address = "127.0.0.1:%[2]d"
  flux-enabled = true
  log-enabled = false
  auth-enabled = %[3]t
[monitor]
  store-enabled = false
[logging]
  level = "warn"
  suppress-logo = true
`, dir, port, user != "", freePort(t))
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s := &realServer{t: t, args: []string{bin, "-config", conf}, url: fmt.Sprintf("http://127.0.0.1:%d", port)}
	s.start()
	t.Cleanup(s.kill)
	if user == "" {
		s.influxQL("CREATE DATABASE "+database, "")
		return s
	}
	name, word, _ := strings.Cut(user, ":")
	s.influxQL(fmt.Sprintf("CREATE USER %s WITH PASSWORD '%s' WITH ALL PRIVILEGES", name, word), "")
	s.influxQL("CREATE DATABASE "+database, user)
	return s
}

func (s *realServer) start() {
	s.t.Helper()
	s.cmd = exec.Command(s.args[0], s.args[1:]...)
	s.cmd.Stdout, s.cmd.Stderr = &s.log, &s.log
	if err := s.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	for range 400 {
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
	form := url.Values{"q": {q}}
	if name, word, ok := strings.Cut(user, ":"); ok {
		form.Set("u", name)
		form.Set("p", word)
	}
	r, err := http.PostForm(s.url+"/query?db="+database, form)
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
