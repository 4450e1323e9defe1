package vmtest

import (
	"fmt"
	"math"
	"testing"
)

// TestStop: SIGKILL takes at most what a power cut takes, though nothing is
// told to the program; SIGTERM takes nothing, and at most 2 s.
func TestStop(t *testing.T) {
	needVM(t)
	t.Parallel()
	const kills, stops, seconds = 4, 3, 3
	m := boot(t, hardware{disk: newDisk(t, 64)})
	m.mountDisk()
	m.addBuses("vcan0")
	m.launch([]string{"vcan0"}, "")
	m.dump("vcan0")
	for round := 1; round <= kills; round++ {
		m.give("traffic.log", numberedTraffic("vcan0", round, seconds))
		m.run(fmt.Sprintf("canplayer -I /share/traffic.log & player=$!; sleep 1.%d; kill -KILL $logd $player; wait $logd; true", round*2))
		m.run(launchLine)
		m.awaitLogd()
	}
	// The emulated machine can be starved by its host, but not three times by
	// chance: what counts is the quickest stop. Each must keep every frame.
	quickest := math.Inf(1)
	for round := kills + 1; round <= kills+stops; round++ {
		m.give("traffic.log", numberedTraffic("vcan0", round, seconds))
		m.run("canplayer -I /share/traffic.log")
		quickest = min(quickest, m.stop())
		if round < kills+stops {
			m.run(launchLine)
			m.awaitLogd()
		}
	}
	if quickest > 2 {
		t.Errorf("the quickest of %d stops took %.2f s", stops, quickest)
	}
	dump := m.stopDump()
	journal := exportAll(t, m.fetchLogbook())
	kept, sent := byRound(t, journal), byRound(t, dump)
	worst := 0
	for round := 1; round <= kills; round++ {
		missing := sent[round] - kept[round]
		worst = max(worst, missing)
		if float64(missing) > lossLimit*fullLoad {
			t.Errorf("round %d: %d of %d frames are missing", round, missing, sent[round])
		}
	}
	for round := kills + 1; round <= kills+stops; round++ {
		if kept[round] != sent[round] || sent[round] != seconds*fullLoad {
			t.Errorf("round %d: after SIGTERM %d frames of %d are kept; the last one of all is %v of %v",
				round, kept[round], sent[round], journal[len(journal)-1], dump[len(dump)-1])
		}
	}
	counts.note(t, "stop", map[string]any{"sigkills": kills, "lost_s_max": round2(float64(worst) / fullLoad), "sigterms": stops, "sigterm_s_min": round2(quickest), "sigterm_lost_frames": 0})
}

// TestRestingProgram: where the program is stopped for longer than the kernel
// can keep frames, what is lost is counted to the frame.
func TestRestingProgram(t *testing.T) {
	needVM(t)
	t.Parallel()
	m := boot(t, hardware{disk: newDisk(t, 64)})
	m.mountDisk()
	m.addBuses("vcan0")
	m.launch([]string{"vcan0"}, "")
	const seconds = 20
	m.give("traffic.log", numberedTraffic("vcan0", 1, seconds))
	m.run("kill -STOP $logd; canplayer -I /share/traffic.log; kill -CONT $logd")
	m.give("traffic.log", numberedTraffic("vcan0", 2, 1))
	m.run("canplayer -I /share/traffic.log; sleep 1")
	dropped := int(m.metric(`logd_kernel_dropped_frames_total{source="0"}`))
	m.stop()
	kept := byRound(t, exportAll(t, m.fetchLogbook()))
	if dropped == 0 {
		t.Errorf("the kernel kept all %d frames: the test shows nothing", seconds*fullLoad)
	}
	if kept[1]+dropped != seconds*fullLoad || kept[2] != fullLoad {
		t.Errorf("%d frames kept and %d counted as dropped of %d; then %d of %d", kept[1], dropped, seconds*fullLoad, kept[2], fullLoad)
	}
	counts.note(t, "program_stopped", map[string]any{"seconds": seconds, "frames": seconds * fullLoad, "kept": kept[1], "counted_as_dropped": dropped})
}

// byRound counts numbered frames. One that was never sent, or that comes
// before its time, fails the test.
func byRound(t *testing.T, log []line) map[int]int {
	t.Helper()
	count, before := map[int]int{}, [2]int{}
	for _, l := range log {
		r, n, ok := numberOf(l.frame)
		if !ok || r < before[0] || r == before[0] && n <= before[1] && n > 0 {
			t.Fatalf("a frame that was not sent then: %+v", l)
		}
		before = [2]int{r, n}
		count[r]++
	}
	return count
}
