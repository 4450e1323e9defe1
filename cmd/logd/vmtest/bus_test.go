package vmtest

import (
	"fmt"
	"testing"
)

// TestBuses takes a bus down and up, unplugs and replugs its adapter, adds a
// bus that was missing, and puts an error frame on one. logd goes on by itself,
// hears every frame of a bus that is there, and never sends one.
func TestBuses(t *testing.T) {
	needVM(t)
	t.Parallel()
	const seconds = 2
	m := boot(t, hardware{disk: newDisk(t, 64)})
	m.mountDisk()
	m.addBuses("vcan0")
	m.launch([]string{"vcan0", "vcan1"}, "")
	m.dump("any")

	round := 0
	play := func(bus string) {
		t.Helper()
		round++
		m.give("traffic.log", numberedTraffic(bus, round, seconds))
		m.run("canplayer -I /share/traffic.log")
	}
	up := func(bus, value string) {
		t.Helper()
		m.awaitMetric(5, `logd_bus_up{interface="`+bus+`"}`, value)
	}
	play("vcan0")
	up("vcan0", "1")
	up("vcan1", "0")

	m.run("ip link set vcan0 down")
	up("vcan0", "0")
	m.run("ip link set vcan0 up")
	play("vcan0")
	up("vcan0", "1")

	m.run("ip link del vcan0")
	up("vcan0", "0")
	m.addBuses("vcan0")
	play("vcan0")
	up("vcan0", "1")

	m.addBuses("vcan1")
	play("vcan1")
	up("vcan1", "1")

	// A bus error with protocol violation, as of a wrong bit rate (linux/can/error.h).
	const fault = "20000088#0000040000000000"
	m.give("fault.log", []byte("(1900000000.000000) vcan1 "+fault+"\n"))
	m.run("canplayer -I /share/fault.log")
	m.awaitMetric(5, `logd_error_frames_total{interface="vcan1"}`, "1")

	if lost := m.metric("logd_lost_frames_total"); lost != 0 {
		t.Errorf("%v frames lost", lost)
	}
	m.stop()
	m.run("sleep 3") // whoever would send now is seen
	dump := m.stopDump()
	journal := exportAll(t, m.fetchLogbook())

	var played []line
	for r := 1; r <= round; r++ {
		for n := range seconds * fullLoad {
			played = append(played, line{frame: numbered(r, n)})
		}
	}
	played = append(played, line{frame: fault})
	sameFrames(t, "candump", dump, "played", played)
	sameFrames(t, "the journal", journal, "played", played)
	if n, want := m.transmitted("vcan1"), seconds*fullLoad+1; n != want {
		t.Errorf("%d frames were sent on vcan1, %d of them by the player", n, want)
	}
	counts.note(t, "buses", fmt.Sprintf("%d of %d frames over down and up, unplugged and replugged, added later", len(journal), len(played)))
}
