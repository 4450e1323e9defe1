//go:build !race

package influx

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"trialday.example/logd/configs"
)

// buildLogd builds the real program.
func buildLogd(t testing.TB) string {
	t.Helper()
	bin := filepath.Join(t.TempDir(), "logd")
	if out, err := exec.Command("go", "build", "-o", bin, "../../cmd/logd").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return bin
}

// configFile writes the configuration of the triple demo boat with a server.
func configFile(t testing.TB, s *realServer, url string, lines int) string {
	t.Helper()
	text, err := configs.Demo("triple")
	if err != nil {
		t.Fatal(err)
	}
	return writeText(t, string(text)+fmt.Sprintf("influx: {url: %q, bucket: %q, batch_lines: %d}\n", url, s.bucket(), lines))
}

// The real program is killed 50 times while it sends: before a batch arrives,
// while the server takes it, and after it was stored but before the cursor was
// moved.
func TestLogdKilledInMidSend(t *testing.T) {
	const kills = 50
	s := influxDB(t)
	bin := buildLogd(t)
	random := rand.New(rand.NewPCG(5, 6))
	var mu sync.Mutex
	var victim *os.Process
	left := 0
	kill := func() {
		mu.Lock()
		defer mu.Unlock()
		_ = victim.Signal(syscall.SIGKILL)
	}
	stored := map[string]int{}
	p := newProxy(t, s.url, func(_ int64, w http.ResponseWriter, r *http.Request, forward func() int) bool {
		mu.Lock()
		left--
		now, how := left == 0, random.IntN(3)
		pause := time.Duration(random.IntN(3000)) * time.Microsecond
		mu.Unlock()
		if !now {
			return false
		}
		switch how {
		case 0:
			stored["not stored"]++
			kill()
		case 1:
			stored["perhaps stored"]++
			time.AfterFunc(pause, kill)
			forward()
			time.Sleep(pause)
		default:
			stored["stored"]++
			forward()
			kill()
		}
		reset(w)
		return true
	})
	dir := framesOf(t, "accuracy").first(0.25).write(t, t.TempDir())
	config := configFile(t, s, p.URL, 100)
	killed, done := 0, ""
	for done == "" {
		mu.Lock()
		left = 1 + random.IntN(6)
		if killed == kills {
			left = -1
		}
		cmd := exec.Command(bin, "send", "--journal", dir, "--config", config)
		var out strings.Builder
		cmd.Stdout, cmd.Stderr = &out, &out
		err := cmd.Start()
		victim = cmd.Process
		mu.Unlock()
		if err != nil {
			t.Fatal(err)
		}
		err = cmd.Wait()
		switch status, ok := cmd.ProcessState.Sys().(syscall.WaitStatus); {
		case err == nil:
			done = out.String()
		case ok && status.Signaled() && status.Signal() == syscall.SIGKILL:
			killed++
		default:
			t.Fatalf("%v: %s", err, out.String())
		}
	}
	if killed != kills {
		t.Errorf("killed %d times only, the day was too short", killed)
	}
	text, err := exec.Command(bin, "send", "--journal", dir, "--config", configFile(t, s, s.url, 100), "--verify").CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	t.Logf("%d kills %v; %s; %s", killed, stored, strings.TrimSpace(done), strings.TrimSpace(string(text)))
}
