//go:build !race

package influx

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"go.einride.tech/can/pkg/socketcan"
)

// The service with a real server: a trial that was closed without a network is
// sent behind the present one, and the present one while it is recorded and to
// its end when it is closed. The frames of the present one come over UDP, in
// far less time than they took.
func TestServiceSendsWhatItRecords(t *testing.T) {
	s := influxDB(t)
	bin, book := buildLogd(t), filepath.Join(t.TempDir(), "trials")
	group := fmt.Sprintf("239.64.142.208:%d", udpPort(t))
	config := configFile(t, s, s.url, 1000)
	text, err := os.ReadFile(config)
	if err != nil {
		t.Fatal(err)
	}
	config = writeText(t, string(text)+fmt.Sprintf("journal: {dir: %s, keep_free_mb: 0}\nbus: {interfaces: ['udp:%s']}\npage: {listen: '127.0.0.1:%d'}\n",
		book, group, freePort(t)))
	logd := func(args ...string) (string, error) {
		out, err := exec.CommandContext(t.Context(), bin, append(args, "--config", config)...).CombinedOutput()
		return string(out), err
	}
	must := func(out string, err error) {
		t.Helper()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	// sent waits until the server holds all of a trial.
	sent := func(number string) {
		t.Helper()
		var out string
		for end := time.Now().Add(2 * time.Minute); time.Now().Before(end); time.Sleep(time.Second) {
			dirs, _ := filepath.Glob(filepath.Join(book, number+"*"))
			if len(dirs) == 0 {
				continue
			}
			var err error
			if out, err = logd("send", "--verify", "--journal", dirs[0]); err == nil && !strings.HasPrefix(out, "0 points") {
				t.Logf("trial %s: %s", number, out)
				return
			}
		}
		t.Fatalf("the server does not get all of trial %s: %s", number, out)
	}

	must(logd("trial", "new"))
	first := framesOf(t, "accuracy").first(0.25)
	dirs, _ := filepath.Glob(filepath.Join(book, "0001*"))
	if len(dirs) != 1 {
		t.Fatalf("trials %v", dirs)
	}
	first.write(t, filepath.Join(dirs[0], "frames"))
	must(logd("trial", "close"))

	run := exec.Command(bin, "run", "--config", config)
	var log strings.Builder
	run.Stderr = &log
	if err := run.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = run.Process.Kill() }()
	conn, err := socketcan.Dial("udp", group)
	if err != nil {
		t.Skipf("no multicast here: %v", err)
	}
	defer conn.Close()
	talk := socketcan.NewTransmitter(conn)
	for i, f := range first.frames {
		if f.IsError {
			continue
		}
		if err := talk.TransmitFrame(context.Background(), f.Frame); err != nil {
			t.Fatal(err)
		}
		if i%16 == 0 {
			time.Sleep(time.Millisecond) // a bus is slower than a loop
		}
	}
	sent("0001")
	must(logd("trial", "close"))
	sent("0002")
	if err := run.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := run.Wait(); err != nil {
		t.Fatalf("%v: %s", err, log.String())
	}
}

func udpPort(t *testing.T) int {
	t.Helper()
	c, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	return c.LocalAddr().(*net.UDPAddr).Port
}
