package page

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"trialday.example/logd/calc"
	"trialday.example/logd/sink/results"
	"trialday.example/logd/sink/timeline"
)

// now is a live state that a test changes.
type now struct {
	mu    sync.Mutex
	state *results.Live
	next  chan struct{}
}

func newNow() *now {
	return &now{state: &results.Live{Version: "first", Hold: results.Hold{State: results.HoldFree}}, next: make(chan struct{})}
}

func (n *now) get() (*results.Live, <-chan struct{}) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.state, n.next
}

func (n *now) set(version string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.state = &results.Live{Version: version}
	close(n.next)
	n.next = make(chan struct{})
}

// served is a server that really listens, on a directory with one trial.
type served struct {
	*testing.T
	dir     string // of the trial
	address string
	now     *now
	amended chan Amendment
	made    chan string
	stop    func()
}

const aTrial = `{"schema": "trialday-results/1", "trial": {"name": "invented", "start": "2031-05-04T07:30:00Z", "end": "2031-05-04T09:00:00Z"}}`

func serve(t *testing.T, access Access) *served {
	t.Helper()
	dir := t.TempDir()
	s := &served{T: t, dir: dir, now: newNow(), amended: make(chan Amendment, 1), made: make(chan string, 10)}
	s.write("results.json", aTrial)
	s.course()
	s.write("sheet.html", "<!DOCTYPE html><style>p{color:red}</style><p>sheet")
	trials, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s.address = l.Addr().String()
	if access.Listen == "" {
		access.Listen = s.address
	}
	h, err := New(Options{
		Trials: trials, Live: s.now.get, Access: access, Log: slog.New(slog.DiscardHandler),
		Make: map[string]func(context.Context, io.Writer, string) error{"steps.parquet": func(_ context.Context, w io.Writer, dir string) error {
			s.made <- dir
			_, err := io.WriteString(w, "made in "+dir)
			return err
		}},
		Amend: func(_ context.Context, _ Trial, a Amendment) (any, error) {
			if a.Name == "" {
				return nil, Refusal{"an amendment needs a name"}
			}
			s.amended <- a
			return map[string]int{"id": 1}, nil
		},
		Health: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "well") }),
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error)
	go func() { ended <- Serve(ctx, l, h, slog.New(slog.DiscardHandler)) }()
	s.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("the server ended with %v", err)
		}
	})
	t.Cleanup(s.stop)
	return s
}

// course writes a timeline of a hundred seconds.
func (s *served) course() {
	s.Helper()
	line := timeline.New()
	for i := range int64(100) {
		line.Add(&calc.Moment{At: i * 1e9}, 50, float64(i)/100)
	}
	line.Date(func(trial int64) int64 { return 1e18 + trial })
	var b bytes.Buffer
	if err := line.Write(&b); err != nil {
		s.Fatal(err)
	}
	s.write(timeline.File, b.String())
}

func (s *served) write(name, text string) {
	s.Helper()
	if err := os.WriteFile(filepath.Join(s.dir, name), []byte(text), 0o644); err != nil {
		s.Fatal(err)
	}
}

// client follows no redirection and keeps no cookie.
var client = &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}

// answer is what came of a request.
type answer struct {
	*http.Response
	body string
}

// ask sends a request; header holds pairs of name and value.
func (s *served) ask(method, path, body string, header ...string) answer {
	s.Helper()
	r, err := http.NewRequest(method, "http://"+s.address+path, strings.NewReader(body))
	if err != nil {
		s.Fatal(err)
	}
	for i := 0; i < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
		}
		r.Header.Set(header[i], header[i+1])
	}
	resp, err := client.Do(r)
	if err != nil {
		s.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		s.Fatal(err)
	}
	return answer{resp, string(text)}
}

// get asks for a path and expects a status.
func (s *served) get(path string, status int, header ...string) answer {
	s.Helper()
	a := s.ask("GET", path, "", header...)
	if a.StatusCode != status {
		s.Errorf("GET %s: %d, want %d: %.200s", path, a.StatusCode, status, a.body)
	}
	return a
}

// problem is the line of a failure.
func (a answer) problem(t *testing.T) string {
	t.Helper()
	var p struct {
		Error string `json:"error"`
	}
	if err := json.Unmarshal([]byte(a.body), &p); err != nil || p.Error == "" || strings.Contains(p.Error, "\n") {
		t.Errorf("%d: not one plain line: %.200s", a.StatusCode, a.body)
	}
	return p.Error
}

func TestWhatIsServed(t *testing.T) {
	s := serve(t, Access{})
	for path, want := range map[string]string{
		"/":                               "<!DOCTYPE html>",
		"/api/live":                       `"version":"first"`,
		"/api/trials":                     `[{"number":1,"name":"invented","start":"2031-05-04T07:30:00Z","end":"2031-05-04T09:00:00Z","closed":true,"has_results":true}]`,
		"/api/trials/1/results":           aTrial,
		"/api/trials/1/results.json":      aTrial,
		"/api/trials/1/sheet.html":        "<p>sheet",
		"/api/trials/1/timeline":          `{"step_s":1,"time":[1000000000,1000000001,`,
		"/api/trials/1/timeline?points=2": `{"step_s":64,"time":[1000000000,1000000064]`,
		"/api/trials/1/track?points=1e9":  `{"time":[1000000000,1000000001,`,
		"/api/trials/1/timeline?from=1000000010&to=1000000011&points=300": `{"step_s":1,"time":[1000000010,1000000011]`,
		"/healthz": "well",
	} {
		if a := s.get(path, http.StatusOK); !strings.Contains(a.body, want) {
			t.Errorf("%s: %.300s", path, a.body)
		}
	}
	for path, status := range map[string]int{
		"/api/trials/2/results":               404,
		"/api/trials/one/results":             404,
		"/api/trials/1/truth.json":            404,
		"/api/trials/1/sheet.pdf":             404,
		"/api/trials/1/timeline?from=noon":    400,
		"/api/trials/1/timeline?from=NaN":     400,
		"/api/trials/1/timeline?from=2&to=1":  400,
		"/api/trials/1/track?points=Infinity": 400,
		"/api/nothing":                        404,
	} {
		s.get(path, status).problem(t)
	}
	s.get("/metrics", http.StatusNotFound) // not given
	s.write(timeline.File, "damaged")
	s.get("/api/trials/1/timeline", http.StatusInternalServerError).problem(t)
	if err := os.Remove(filepath.Join(s.dir, timeline.File)); err != nil {
		t.Fatal(err)
	}
	s.get("/api/trials/1/track", http.StatusNotFound).problem(t)
}

func TestFilesAreSentAgainOnlyWhenTheyChanged(t *testing.T) {
	s := serve(t, Access{})
	for _, path := range []string{"/", "/api/trials/1/results"} {
		tag := s.get(path, http.StatusOK).Header.Get("ETag")
		if tag == "" {
			t.Errorf("%s has no tag", path)
		}
		s.get(path, http.StatusNotModified, "If-None-Match", tag)
		s.get(path, http.StatusNotModified, "If-None-Match", tag, "Accept-Encoding", "gzip")
	}
	tag := s.get("/api/trials/1/results", http.StatusOK).Header.Get("ETag")
	s.write("results.part", strings.Replace(aTrial, "invented", "modified", 1)) // of one length
	if err := os.Rename(filepath.Join(s.dir, "results.part"), filepath.Join(s.dir, "results.json")); err != nil {
		t.Fatal(err)
	}
	if a := s.get("/api/trials/1/results", http.StatusOK, "If-None-Match", tag); !strings.Contains(a.body, "modified") {
		t.Error(a.body)
	}
}

func TestLongAnswersAreCompressed(t *testing.T) {
	s := serve(t, Access{})
	s.write("results.json", aTrial+strings.Repeat(" ", 100000))
	a := s.get("/api/trials/1/results", http.StatusOK, "Accept-Encoding", "gzip")
	if a.Header.Get("Content-Encoding") != "gzip" || len(a.body) > 10000 {
		t.Errorf("%v, %d bytes", a.Header, len(a.body))
	}
}

func TestAnAmendmentIsHandedOn(t *testing.T) {
	s := serve(t, Access{})
	const path, kind = "/api/trials/1/amendments", "application/json"
	a := s.ask("POST", path, `{"name":"N","reason":"wake","action":"exclude","window_ids":[3,4],"withdraws":0}`, "Content-Type", kind)
	if got := <-s.amended; a.StatusCode != http.StatusCreated || a.body != "{\"id\":1}\n" ||
		got.Name != "N" || got.Reason != "wake" || got.Action != "exclude" || fmt.Sprint(got.WindowIDs) != "[3 4]" {
		t.Errorf("%d %s: %+v", a.StatusCode, a.body, got)
	}
	for _, c := range []struct {
		body, kind string
		status     int
	}{
		{`{"name":""}`, kind, 422},
		{`{"name":"N"}`, "application/x-www-form-urlencoded", 415},
		{`{"name":"N"}`, "", 415},
		{`name=N`, kind, 400},
		{`{"name":"N","colour":"red"}`, kind, 400},
		{`{"name":"N"}{"name":"M"}`, kind, 400},
		{``, kind, 400},
		{`{"name":"` + strings.Repeat("N", maxBody) + `"}`, kind, 413},
	} {
		a := s.ask("POST", path, c.body, "Content-Type", c.kind)
		if a.problem(t); a.StatusCode != c.status {
			t.Errorf("%.60s: %d, want %d", c.body, a.StatusCode, c.status)
		}
	}
	if a := s.ask("POST", "/api/trials/9/amendments", "{}", "Content-Type", kind); a.StatusCode != http.StatusNotFound {
		t.Errorf("of no trial: %d", a.StatusCode)
	}
	if a := s.ask("DELETE", "/api/trials/1/results", ""); a.StatusCode != http.StatusMethodNotAllowed && a.StatusCode != http.StatusNotFound {
		t.Errorf("DELETE: %d", a.StatusCode)
	}
	if len(s.amended) != 0 {
		t.Error("one that was refused was handed on")
	}
}

func TestOnlyFilesOfTrialsAreServed(t *testing.T) {
	s := serve(t, Access{})
	if err := os.WriteFile(filepath.Join(filepath.Dir(s.dir), "secret"), []byte("secret"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{
		"/../secret", "/assets/../../secret", "/assets/..%2f..%2fsecret", "/assets/%2e%2e/%2e%2e/secret",
		"/api/trials/1/../../../secret", "/api/trials/1/..%2fsecret", "/api/trials/1/%2e%2e%2fsecret", "/api/trials/1/..%5csecret",
		"/api/trials/../results", "/api/trials/..%2f1/results", "/api/trials/1/results.json%00", "/assets/", "/assets//etc/passwd",
		"//etc/passwd", "/api/trials/1/frames", "/api/trials/1/..",
	} {
		raw := s.raw("GET " + path + " HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
		status, _, _ := strings.Cut(raw, "\r\n")
		if strings.Contains(raw, "secret\n") || strings.Contains(raw, "root:") || strings.HasSuffix(raw, "secret") || strings.Contains(status, " 200 ") {
			t.Errorf("%s: %.300s", path, raw)
		}
	}
}

// raw sends bytes and reads until the server closes.
func (s *served) raw(text string) string {
	c, err := net.Dial("tcp", s.address)
	if err != nil {
		s.Error(err)
		return ""
	}
	defer c.Close()
	if err := c.SetDeadline(time.Now().Add(time.Minute)); err != nil {
		s.Error(err)
	}
	if _, err := io.WriteString(c, text); err != nil {
		s.Error(err)
	}
	var got bytes.Buffer
	if _, err := got.ReadFrom(c); errors.Is(err, os.ErrDeadlineExceeded) {
		s.Errorf("%.40q: the server waits", text)
	}
	return got.String()
}

func TestATrialsDirectoryIsOpenedAsItIs(t *testing.T) {
	if _, err := Open(filepath.Join(t.TempDir(), "missing")); err == nil {
		t.Error("a directory that is not there was opened, or made")
	}
	book := filepath.Join(t.TempDir(), "trials")
	for dir, text := range map[string]string{"0001-day": "{}", "0002": `{"name": "second", "begun": "2031-05-05T00:00:00Z"}`, "0003": "broken"} {
		if err := os.MkdirAll(filepath.Join(book, dir), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(book, dir, "trial.json"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for dir, want := range map[string]string{
		book:                        "1 2",
		filepath.Join(book, "0002"): "2",
	} {
		list, err := Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		trials, err := list()
		var got []string
		for _, x := range trials {
			got = append(got, fmt.Sprint(x.Number))
		}
		if err != nil || strings.Join(got, " ") != want {
			t.Errorf("%s: %v, %v", dir, got, err)
		}
	}
}

// What is not in the trial's directory, or there from earlier results, is made
// once of those that are there.
func TestFilesAreMadeOfTheResults(t *testing.T) {
	s := serve(t, Access{})
	const path = "/api/trials/1/steps.parquet"
	if a := s.ask("HEAD", path, ""); a.StatusCode != http.StatusOK || len(s.made) != 0 {
		t.Errorf("%d; %d made for a question", a.StatusCode, len(s.made))
	}
	for range 2 {
		if a := s.get(path, http.StatusOK); a.body != "made in "+s.dir || a.Header.Get("Content-Type") != "application/vnd.apache.parquet" {
			t.Errorf("%s %v", a.body, a.Header)
		}
	}
	if len(s.made) != 1 {
		t.Errorf("made %d times", len(s.made))
	}
	s.write("steps.parquet", "as written")
	if a := s.get(path, http.StatusOK); a.body != "as written" {
		t.Error(a.body)
	}
	old := time.Now().Add(-time.Hour)
	if err := os.Chtimes(filepath.Join(s.dir, "steps.parquet"), old, old); err != nil {
		t.Fatal(err)
	}
	if a := s.get(path, http.StatusOK); !strings.HasPrefix(a.body, "made in") {
		t.Error("a file of earlier results was sent")
	}
}
