package vmtest

import (
	"path/filepath"
	"strconv"
	"strings"
	"testing"
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
	m.run("candump -r 33554432 -L " + strings.Join(buses, " ") + " >/tmp/dump & dump=$!; sleep 0.5")
}

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
