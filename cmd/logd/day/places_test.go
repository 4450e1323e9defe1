package day

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/results"
)

func rangesOf(t *testing.T, list []frame.Frame) (ranges []results.FrameRange, lengths []time.Duration) {
	t.Helper()
	for _, w := range finish(t, boatA(t), list).Windows {
		if w.Frames == nil {
			t.Fatalf("window %d has no frames", w.ID)
		}
		from, _ := time.Parse(time.RFC3339Nano, w.Start)
		to, _ := time.Parse(time.RFC3339Nano, w.End)
		ranges, lengths = append(ranges, *w.Frames), append(lengths, to.Sub(from))
	}
	return ranges, lengths
}

// The frames named are those, and all those, whose capture time lies in the
// window: on a recorder's clock without jumps trial time is the time since the
// first frame.
func TestFramesOfAWindow(t *testing.T) {
	list := must(t, shortDay)
	ranges, lengths := rangesOf(t, list)
	if len(ranges) < 4 {
		t.Fatalf("%d windows", len(ranges))
	}
	since := func(i int64) time.Duration { return time.Duration(list[i].Time - list[0].Time) }
	for i, r := range ranges {
		from := since(r.First - 1).Truncate(time.Second)
		to := from + lengths[i].Round(time.Second)
		for _, c := range []struct {
			frame  int64
			inside bool
		}{{r.First - 2, false}, {r.First - 1, true}, {r.Last - 1, true}, {r.Last, false}} {
			if at := since(c.frame); c.inside != (at >= from && at < to) {
				t.Errorf("window %d of frames %+v: frame %d at %v, window from %v to %v", i+1, r, c.frame+1, at, from, to)
			}
		}
	}
}

// A bus that is silent while the boat turns changes no window: the frames after
// it wait for satellite time, which tells that the recorder's clock ran on, and
// count in the right second all the same.
func TestFramesOfAWindowAfterSilence(t *testing.T) {
	list := must(t, shortDay)
	want, _ := rangesOf(t, list)
	from := int(want[1].Last) + 100
	to := from
	for list[to].Time < list[from].Time+int64(4*time.Second) {
		to++
	}
	if int64(to) >= want[2].First {
		t.Fatalf("frames %d to %d are not between two windows: %v", from, to, want)
	}
	got, _ := rangesOf(t, slices.Delete(slices.Clone(list), from, to))
	for i := 2; i < len(want); i++ {
		want[i].First, want[i].Last = want[i].First-int64(to-from), want[i].Last-int64(to-from)
	}
	if !slices.Equal(got, want) {
		t.Errorf("frames %v, want %v", got, want)
	}
}

// Ten frames a second, and a pause of 7.35 s that is known 3 s after it.
func TestPlacesOfFramesThatWaited(t *testing.T) {
	const step, pause = int64(100e6), int64(7350e6)
	var p places
	var times []int64
	for i := range int64(100) {
		at, late, real := i*step, int64(0), i*step
		if i >= 50 {
			real += pause
		}
		if i >= 80 {
			at, late = at+pause, pause
		}
		p.add(at, i >= 50 && i < 80, late)
		times = append(times, real)
	}
	p.finish(pause)
	for from := range int64(20) {
		for to := from; to < 20; to++ {
			var want results.FrameRange
			for i, at := range times {
				if at >= from*1e9 && at < to*1e9 {
					if want.Last = int64(i) + 1; want.First == 0 {
						want.First = want.Last
					}
				}
			}
			got := p.between(from*1e9, to*1e9)
			if (got == nil) != (want.First == 0) || got != nil && *got != want {
				t.Errorf("from %d s to %d s: %+v, want %+v", from, to, got, want)
			}
		}
	}
}

// Seconds without a frame, short and long, and seconds of many frames.
func TestPlacesOfManySeconds(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	var p places
	var first []place // of each second in which a frame came
	at, frames := int64(3), int64(0)
	for range 1000 {
		first = append(first, place{at, frames})
		for range 1 + r.IntN(1+r.IntN(9000)) {
			p.add(at*1e9+r.Int64N(1e9), false, 0)
			frames++
		}
		at++
		if r.IntN(10) == 0 {
			at += r.Int64N(1 + r.Int64N(100_000))
		}
	}
	want := func(second int64) int64 {
		for _, f := range first {
			if f.second >= second {
				return f.frame
			}
		}
		return frames
	}
	for _, f := range first {
		for _, second := range []int64{f.second - 1, f.second, f.second + 1} {
			if got := p.at(second * 1e9); got != want(second) {
				t.Fatalf("%d frames before second %d, want %d", got, second, want(second))
			}
		}
	}
	if size := len(p.steps) + 24*len(p.marks); size > 4*len(first) {
		t.Errorf("%d bytes for %d seconds", size, len(first))
	}
}
