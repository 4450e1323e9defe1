package vmtest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"sync"
	"testing"
	"time"
)

// syncS is the default of journal.sync_s.
const syncS = 1.0

// lossLimit is what a power cut may take, in seconds of frames.
const lossLimit = syncS + 0.5

// TestPowerCut: one boat's disk lives through many power cuts at random
// moments. After each the journal opens, has no wrong frame and no hole, and
// lacks at most the last lossLimit seconds.
func TestPowerCut(t *testing.T) {
	needVM(t)
	const boats = 2 // at a time
	cuts := number(t, "TRIALDAY_VM_CUTS", 30)
	seed := uint64(time.Now().UnixNano())
	var mu sync.Mutex
	var losses []float64
	t.Run("boats", func(t *testing.T) {
		for boat := range boats {
			rounds := cuts / boats
			if boat < cuts%boats {
				rounds++
			}
			t.Run(fmt.Sprint(boat), func(t *testing.T) {
				t.Parallel()
				t.Logf("seed %d", seed)
				b := &boatUnderCuts{t: t, disk: newDisk(t, 512), random: rand.New(rand.NewPCG(seed, uint64(boat))), kept: map[int]int{}}
				b.live(rounds)
				mu.Lock()
				defer mu.Unlock()
				losses = append(losses, b.losses...)
			})
		}
	})
	if t.Failed() || len(losses) == 0 {
		return
	}
	slices.Sort(losses)
	counts.note(t, "power_cuts", map[string]any{
		"cuts": cuts, "cuts_while_recording": len(losses), "sync_s": syncS, "journals_that_did_not_open": 0, "wrong_frames": 0,
		"lost_s_median": round2(losses[len(losses)/2]), "lost_s_max": round2(losses[len(losses)-1]),
	})
}

func round2(x float64) float64 { return float64(int64(x*100+0.5)) / 100 }

type boatUnderCuts struct {
	t      *testing.T
	disk   string
	random *rand.Rand
	losses []float64   // s
	kept   map[int]int // frames by round, as found after its cut
}

// witnessed is what was seen outside of a round before its power cut.
type witnessed struct {
	markers []line // empty where the cut came before the first frame
}

func (b *boatUnderCuts) live(rounds int) {
	var before witnessed
	for round := 1; round <= rounds+1 && !b.t.Failed(); round++ {
		m := boot(b.t, hardware{disk: b.disk})
		m.mountDisk()
		if round > 1 {
			b.check(round-1, before, exportAll(b.t, m.fetchLogbook()))
		}
		if round <= rounds {
			before = b.sail(m, round)
		}
		m.off()
		os.RemoveAll(m.share)
	}
}

// sail records until the power is cut. Every fifth cut comes while logd starts
// and reads its journal, and as many come about when the first frame is on its
// way to the disk.
func (b *boatUnderCuts) sail(m *machine, round int) witnessed {
	m.addBuses("vcan0")
	if round%5 == 0 {
		m.prepareLaunch([]string{"vcan0"}, "")
		m.run(launchLine)
		time.Sleep(b.upTo(1.5))
		m.cut()
		return witnessed{}
	}
	m.give("traffic.log", numberedTraffic("vcan0", round, 30))
	m.run("cp /share/traffic.log /tmp/traffic.log")
	m.launch([]string{"vcan0"}, "")
	m.run("stty -F /dev/ttyS2 raw; candump -L vcan0,18FFFF05:1FFFFFFF >/dev/ttyS2 & sleep 0.3")
	m.run("canplayer -I /tmp/traffic.log &")
	if round%5 == 1 {
		time.Sleep(b.upTo(0.5))
	} else {
		time.Sleep(b.upTo(4))
	}
	m.cut()
	return witnessed{readLog(b.t, m.witness)}
}

func (b *boatUnderCuts) upTo(seconds float64) time.Duration {
	return time.Duration(b.random.Float64() * seconds * float64(time.Second))
}

// check compares the journal with what was seen of a round.
func (b *boatUnderCuts) check(round int, seen witnessed, journal []line) {
	b.t.Helper()
	next, last := map[int]int{}, int64(0)
	before := 0
	for _, l := range journal {
		r, n, ok := numberOf(l.frame)
		switch {
		case !ok || l.bus != "vcan0" || r > round || r < before:
			b.t.Fatalf("round %d: a frame that was never sent there: %+v", round, l)
		case n != next[r]:
			b.t.Fatalf("round %d: frame %d of round %d comes where %d should", round, n, r, next[r])
		}
		before, next[r] = r, n+1
		if r == round {
			last = l.micros
		}
	}
	b.kept[round] = next[round]
	for r, n := range b.kept {
		if next[r] != n {
			b.t.Fatalf("round %d: %d frames of round %d, once kept, are %d now", round, n, r, next[r])
		}
	}
	if len(seen.markers) == 0 {
		return
	}
	end := seen.markers[len(seen.markers)-1]
	if last == 0 {
		last = seen.markers[0].micros
	}
	loss, late := max(0, float64(end.micros-last)/1e6), starved(seen.markers)
	b.t.Logf("round %d: %d frames kept, %.2f s lost; the machine was late by %.2f s", round, next[round], loss, late)
	b.losses = append(b.losses, loss)
	if loss > lossLimit+late {
		b.t.Errorf("round %d: the last %.2f s are missing, %.1f s are allowed and %.2f s by which the emulated machine was late", round, loss, lossLimit, late)
	}
}

// starved is by how many seconds the emulated machine fell behind its own clock
// before the power cut, its host being busy: frames are played at a fixed pace,
// and came later than that.
func starved(markers []line) float64 {
	least, most := math.Inf(1), math.Inf(-1)
	end := markers[len(markers)-1].micros
	for _, m := range markers {
		_, n, ok := numberOf(m.frame)
		if !ok {
			continue
		}
		late := float64(m.micros)/1e6 - float64(n)/fullLoad
		least = min(least, late)
		if float64(end-m.micros)/1e6 <= lossLimit {
			most = max(most, late)
		}
	}
	return most - least
}
