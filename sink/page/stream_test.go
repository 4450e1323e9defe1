package page

import (
	"bufio"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// listening is a client of the live stream.
type listening struct {
	*bufio.Reader
	body interface{ Close() error }
}

func (s *served) listen() *listening {
	s.Helper()
	resp, err := client.Get("http://" + s.address + "/api/live/stream")
	if err != nil {
		s.Fatal(err)
	}
	s.Cleanup(func() { resp.Body.Close() })
	if kind := resp.Header.Get("Content-Type"); resp.StatusCode != http.StatusOK || kind != "text/event-stream" {
		s.Fatalf("%d %s", resp.StatusCode, kind)
	}
	return &listening{bufio.NewReader(resp.Body), resp.Body}
}

// next is the next event's name and data; "" at the end of the stream.
func (l *listening) next() (event, data string) {
	for {
		line, err := l.ReadString('\n')
		if err != nil {
			return "", ""
		}
		line = strings.TrimSuffix(line, "\n")
		if v, ok := strings.CutPrefix(line, "event: "); ok {
			event = v
		} else if v, ok := strings.CutPrefix(line, "data: "); ok {
			data = v
		} else if line == "" && event != "" {
			return event, data
		}
	}
}

// want reads on until an event holds what is wanted.
func (l *listening) want(t *testing.T, event, part string) {
	t.Helper()
	for {
		e, data := l.next()
		if e == "" {
			t.Fatalf("the stream ended before %s with %s", event, part)
		}
		if e == event && strings.Contains(data, part) {
			return
		}
	}
}

func TestTheStreamTellsWhatChanges(t *testing.T) {
	s := serve(t, Access{})
	a, b := s.listen(), s.listen()
	for _, l := range []*listening{a, b} {
		l.want(t, "live", `"version":"first"`)
	}
	s.now.set("second")
	a.want(t, "live", `"version":"second"`)
	b.want(t, "live", `"version":"second"`)
	s.write("results.json", aTrial+" ")
	a.want(t, "trial", `{"number":1}`)
	b.want(t, "trial", `{"number":1}`)
}

func TestTheStreamEndsWithTheServer(t *testing.T) {
	s := serve(t, Access{})
	l := s.listen()
	l.want(t, "live", "first")
	s.stop()
	for {
		if e, _ := l.next(); e == "" {
			break
		}
	}
	if _, err := net.Dial("tcp", s.address); err == nil {
		t.Error("still listening")
	}
}

func TestTheNumberOfStreamsIsBounded(t *testing.T) {
	s := serve(t, Access{})
	var open []*listening
	for range maxStreams {
		open = append(open, s.listen())
	}
	if a := s.get("/api/live/stream", http.StatusServiceUnavailable); a.Header.Get("Retry-After") == "" {
		t.Error("not told when to come again")
	}
	s.get("/api/live", http.StatusOK)
	open[0].body.Close()
	for end := time.Now().Add(time.Minute); ; time.Sleep(10 * time.Millisecond) {
		resp, err := client.Get("http://" + s.address + "/api/live/stream")
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode == http.StatusOK {
			break
		}
		if time.Now().After(end) {
			t.Fatal("the place of one who went is not free")
		}
	}
}

// A client that does not read skips states and delays nobody.
func TestAClientThatDoesNotReadSkipsStates(t *testing.T) {
	s := serve(t, Access{})
	c, err := net.Dial("tcp", s.address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "GET /api/live/stream HTTP/1.1\r\nHost: localhost\r\n\r\n")
	quick := s.listen()
	long := strings.Repeat("x", 1<<20)
	const states = 20
	for i := range states {
		version := fmt.Sprintf("%d %s", i, long)
		s.now.set(version)
		quick.want(t, "live", version[:10])
	}
	slow := &listening{Reader: bufio.NewReader(c)}
	seen := 0
	for e := "live"; e != ""; {
		var data string
		if e, data = slow.next(); e == "live" {
			seen++
		}
		if strings.Contains(data, fmt.Sprintf("%d ", states-1)) {
			break
		}
	}
	if seen >= states {
		t.Errorf("%d of %d states wait for a client that does not read", seen, states)
	}
}

func TestWhatDiffers(t *testing.T) {
	got := differing(map[int]string{1: "a", 2: "b", 3: "c"}, map[int]string{1: "a", 2: "x", 4: "d"})
	if fmt.Sprint(got) != "[2 3 4]" {
		t.Error(got)
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "f")
	if mark(path) != "" {
		t.Error("a mark of nothing")
	}
	if err := os.WriteFile(path, []byte("1"), 0o644); err != nil {
		t.Fatal(err)
	}
	if mark(path) == "" {
		t.Error("no mark")
	}
}
