package vmtest

import (
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
)

// What is done inside the guest, again and again.

// addBuses makes virtual CAN interfaces and brings them up.
func (m *machine) addBuses(buses ...string) {
	m.t.Helper()
	for _, bus := range buses {
		m.run("ip link add " + bus + " type vcan && ip link set " + bus + " up")
	}
}

// dump starts candump as the reference: a log of everything on the buses, by
// the kernel's time stamps, from a receive buffer that cannot overflow.
func (m *machine) dump(buses ...string) {
	m.t.Helper()
	m.run("echo 67108864 >/proc/sys/net/core/rmem_max")
	m.run("candump -r 33554432 -L " + strings.Join(buses, everything+" ") + everything + " >/tmp/dump & dump=$!; sleep 0.5")
}

// everything is candump's filter for all frames and all error frames.
const everything = ",0:0,#FFFFFFFF"

// stopDump ends the reference and returns its log.
func (m *machine) stopDump() []line {
	m.t.Helper()
	m.run("sleep 0.5; kill $dump; wait $dump; cp /tmp/dump /share/dump")
	return readLog(m.t, filepath.Join(m.share, "dump"))
}

// transmitted returns how many frames the kernel has sent on a bus, whoever
// sent them.
func (m *machine) transmitted(bus string) int {
	m.t.Helper()
	n, err := strconv.Atoi(m.run("cat /sys/class/net/" + bus + "/statistics/tx_packets"))
	if err != nil {
		m.t.Fatal(err)
	}
	return n
}

// sameFrames compares identifiers and data of two logs of one bus, in order.
func sameFrames(t *testing.T, aName string, a []line, bName string, b []line) {
	t.Helper()
	for i := range min(len(a), len(b)) {
		if a[i].frame != b[i].frame {
			t.Errorf("frame %d of %s: %s, of %s: %s", i, aName, a[i].frame, bName, b[i].frame)
			break
		}
	}
	if len(a) != len(b) {
		t.Errorf("%d frames in %s, %d in %s", len(a), aName, len(b), bName)
	}
}

// logd, as in service: a user without any right, and the room for frames in the
// kernel that the package's sysctl file gives.

// launch starts logd. More is added to the configuration. What logd says goes
// to the file logd.out of the share.
func (m *machine) launch(buses []string, more string) {
	m.t.Helper()
	m.prepareLaunch(buses, more)
	m.run(launchLine)
	m.awaitLogd()
}

const launchLine = "su -s /bin/sh -c 'exec /bin/logd run --config /share/logd.yaml' trialday >>/share/logd.out 2>&1 & logd=$!"

func (m *machine) prepareLaunch(buses []string, more string) {
	m.t.Helper()
	m.give("logd.yaml", fmt.Appendf(nil, "bus: {interfaces: [%s]}\njournal: {dir: /disk/journal%s}\n", strings.Join(buses, ", "), more))
	m.run("echo 8388608 >/proc/sys/net/core/rmem_max; mkdir -p /disk/journal && chown trialday /disk/journal")
}

// awaitLogd waits until logd hears the buses.
func (m *machine) awaitLogd() {
	m.t.Helper()
	m.await(30, `{ `+fetchMetrics+` && grep -q '^logd_kernel_buffer_bytes{source="0"} [1-9]' /tmp/metrics; }`)
}

const fetchMetrics = "wget -q -O /tmp/metrics http://127.0.0.1:8642/metrics 2>/dev/null"

// metric is the present value of a metric, with its labels as served.
func (m *machine) metric(name string) float64 {
	m.t.Helper()
	text := m.run(fetchMetrics + " && cat /tmp/metrics")
	for line := range strings.Lines(text) {
		if value, ok := strings.CutPrefix(strings.TrimSpace(line), name+" "); ok {
			v, err := strconv.ParseFloat(value, 64)
			if err != nil {
				m.t.Fatal(err)
			}
			return v
		}
	}
	m.t.Fatalf("no metric %s in\n%s", name, text)
	return 0
}

// awaitMetric waits until a metric has a value, for at most so many seconds.
func (m *machine) awaitMetric(seconds int, name, value string) {
	m.t.Helper()
	m.await(seconds, fmt.Sprintf(`{ %s && grep -qxF '%s %s' /tmp/metrics; }`, fetchMetrics, name, value))
}

// stop ends logd by SIGTERM, and returns how long that took.
func (m *machine) stop() float64 {
	m.t.Helper()
	out := m.run("read a b </proc/uptime; kill $logd; wait $logd; status=$?; read c d </proc/uptime; echo $a $c; [ $status = 0 ]")
	from, to := parsePair(m.t, out)
	return to - from
}

func parsePair(t *testing.T, text string) (a, b float64) {
	t.Helper()
	if _, err := fmt.Sscan(text, &a, &b); err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	return a, b
}

// mountDisk mounts the boat's disk on /disk as Debian's installer does.
func (m *machine) mountDisk() {
	m.t.Helper()
	m.run("mkdir -p /disk && mount -t ext4 -o errors=remount-ro /dev/vda /disk")
}

// fetchLogbook copies the directory of the trials out of the guest. It may not
// exist: the power went before it was on the disk.
func (m *machine) fetchLogbook() (dir string) {
	m.t.Helper()
	m.run("rm -rf /share/journal && { [ ! -e /disk/journal ] || cp -r /disk/journal /share/journal; }")
	return filepath.Join(m.share, "journal")
}

// exportAll exports the frames of all trials of a logbook, in the order in
// which they were recorded. A journal that does not open fails the test.
func exportAll(t *testing.T, logbook string) []line {
	t.Helper()
	journals, _ := filepath.Glob(filepath.Join(logbook, "[0-9]*", "frames"))
	var all []line
	for i, dir := range journals { // sorted by number
		if isEmpty(t, dir) {
			continue // the power went before the first frame
		}
		out := filepath.Join(t.TempDir(), fmt.Sprint(i))
		host(t, image.logd, "export", "--format", "canlog", "--out", out, dir)
		all = append(all, readLog(t, out)...)
	}
	return all
}

// isEmpty reports whether a journal opens and has no frame.
func isEmpty(t *testing.T, dir string) bool {
	t.Helper()
	segments, _ := filepath.Glob(filepath.Join(dir, "*.seg"))
	if len(segments) == 0 {
		return true
	}
	r, err := journal.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var f frame.Frame
	err = r.Next(&f)
	if err != nil && err != io.EOF {
		t.Fatal(err)
	}
	return err == io.EOF
}
