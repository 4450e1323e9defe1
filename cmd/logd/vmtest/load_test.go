package vmtest

import (
	"os"
	"strconv"
	"testing"
)

// number reads a number from the environment.
func number(t *testing.T, name string, otherwise int) int {
	t.Helper()
	text := os.Getenv(name)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("%s=%q: a number from 1 is wanted", name, text)
	}
	return n
}

// TestFullLoad: at the full load of two buses nothing is lost, every frame has
// the kernel's own time stamp, and logd itself sends nothing.
func TestFullLoad(t *testing.T) {
	needVM(t)
	seconds := number(t, "TRIALDAY_VM_LOAD", 60)
	buses := []string{"vcan0", "vcan1"}
	m := boot(t, hardware{cpus: 2, disk: newDisk(t, 256)})
	m.mountDisk()
	m.addBuses(buses...)
	m.give("traffic.log", realTraffic(t, buses, seconds))
	m.run("cp /share/traffic.log /tmp/traffic.log")
	m.launch(buses, "")
	m.dump(buses...)
	m.run("canplayer -I /tmp/traffic.log")
	dump := m.stopDump()
	dropped, lost := m.metric(`logd_kernel_dropped_frames_total{source="0"}`), m.metric("logd_lost_frames_total")
	if dropped != 0 || lost != 0 {
		t.Errorf("the kernel dropped %v frames, logd lost %v", dropped, lost)
	}
	memory := m.run("sed -n 's/^VmHWM: *//p' /proc/$logd/status")
	stop := m.stop()
	journal := exportAll(t, m.fetchLogbook())
	for _, bus := range buses {
		kept, seen := on(bus, journal), on(bus, dump)
		sameFrames(t, "the journal", kept, "candump", seen)
		for i := range min(len(kept), len(seen)) {
			if kept[i].micros != seen[i].micros {
				t.Errorf("%s, frame %d: journal %d µs, candump %d µs", bus, i, kept[i].micros, seen[i].micros)
				break
			}
		}
		if want := seconds * fullLoad; len(seen) != want {
			t.Errorf("%s: %d frames on the bus, %d were played", bus, len(seen), want)
		}
		if n := m.transmitted(bus); n != seconds*fullLoad {
			t.Errorf("%s: %d frames were sent, %d of them by the player", bus, n, seconds*fullLoad)
		}
	}
	took := float64(dump[len(dump)-1].micros-dump[0].micros) / 1e6
	rate := float64(len(dump)) / took
	if rate < 0.9*fullLoad*float64(len(buses)) {
		t.Errorf("%.0f frames a second: the load was not full", rate)
	}
	counts.note(t, "load", map[string]any{
		"buses": len(buses), "seconds": round(took), "frames_sent": 2 * seconds * fullLoad, "frames_candump": len(dump),
		"frames_journal": len(journal), "frames_per_second": round(rate),
		"kernel_dropped": dropped, "lost": lost, "stop_s": round2(stop), "memory_peak": memory,
	})
}

// round keeps one decimal.
func round(x float64) float64 { return float64(int64(x*10+0.5)) / 10 }
