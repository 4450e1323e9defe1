package vmtest

import (
	"path/filepath"
	"testing"
)

// TestMachine shows that the reference is sound: what canplayer sends at full
// load on two buses, candump receives, frame for frame.
func TestMachine(t *testing.T) {
	needVM(t)
	const seconds = 5
	buses := []string{"vcan0", "vcan1"}
	m := boot(t, hardware{cpus: 2})
	m.addBuses(buses...)
	traffic := realTraffic(t, buses, seconds)
	m.give("traffic.log", traffic)
	m.run("cp /share/traffic.log /tmp/traffic.log")
	m.dump(buses...)
	m.run("canplayer -I /tmp/traffic.log")
	dump := m.stopDump()
	sent := readLog(t, filepath.Join(m.share, "traffic.log"))
	for _, bus := range buses {
		sameFrames(t, "candump", on(bus, dump), "sent", on(bus, sent))
	}
}
