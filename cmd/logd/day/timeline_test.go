package day

import (
	"bytes"
	"math"
	"slices"
	"testing"
	"time"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/timeline"
)

func fileOf(t *testing.T, line *timeline.Timeline) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := line.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The timeline is a function of the frames; it may be looked at as the day goes
// on, and what it shows is what the results say.
func TestTimelineOfADay(t *testing.T) {
	list := must(t, shortDay)
	var files [2][]byte
	for i := range files {
		d := New(boatA(t), "test", oneBus)
		for k := range list {
			d.Frame(&list[k])
			if i == 1 && k%500 == 0 {
				d.Timeline().View(math.Inf(-1), math.Inf(1), 100)
			}
		}
		r, line := d.Finish(0)
		files[i] = fileOf(t, line.Zoom)
		for _, w := range r.Windows {
			from, to := stampUnix(t, w.Start), stampUnix(t, w.End)
			v := line.Zoom.View(from+0.5, to-0.5, 10000)
			if !w.Accepted || w.SOGKn == nil {
				continue
			}
			// The window's mean leaves out a part of a wave period.
			if got := mean(v.Channels["sog_kn"].Mean); math.Abs(got/w.SOGKn.Mean-1) > 0.005 {
				t.Errorf("window %d: %g kn, %g kn in the timeline", w.ID, w.SOGKn.Mean, got)
			}
			if got := mean(v.Channels["rpm_centre"].Mean); math.Abs(got/w.RPM["centre"].Mean-1) > 0.002 {
				t.Errorf("window %d: %g rpm, %g in the timeline", w.ID, w.RPM["centre"].Mean, got)
			}
			if n := int(math.Round(to - from)); len(v.Time) != n || v.StepS != 1 || math.Abs(v.Time[0]-from) > 0.01 {
				t.Errorf("window %d of %d s from %f: %d points of %g s from %f", w.ID, n, from, len(v.Time), v.StepS, v.Time[0])
			}
		}
		track := line.Zoom.Track(math.Inf(-1), math.Inf(1), 2000)
		for k, lat := range track.LatDeg {
			if k > 2 && !(math.Abs(lat-50.2) < 0.2 && math.Abs(track.LonDeg[k]+3.1) < 0.2) {
				t.Fatalf("at %f the boat is at %v, %v", track.Time[k], lat, track.LonDeg[k])
			}
		}
	}
	if !bytes.Equal(files[0], files[1]) {
		t.Error("looking on changed the timeline")
	}
}

func stampUnix(t *testing.T, text string) float64 {
	t.Helper()
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		t.Fatal(err)
	}
	return float64(at.UnixMilli()) / 1e3
}

func mean(v timeline.Values) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// A silent bus leaves a gap, not a line across it.
func TestTimelineKeepsGaps(t *testing.T) {
	list := must(t, onePass)
	from := list[0].Time + 20e9
	heard := slices.DeleteFunc(slices.Clone(list), func(f frame.Frame) bool { return f.Time >= from && f.Time < from+25e9 })
	d := New(boatA(t), "test", oneBus)
	for i := range heard {
		d.Frame(&heard[i])
	}
	_, line := d.Finish(0)
	v := line.Zoom.View(math.Inf(-1), math.Inf(1), 100000)
	empty := 0
	for _, x := range v.Channels["sog_kn"].Mean {
		if math.IsNaN(x) {
			empty++
		}
	}
	// A value is held for two seconds.
	if empty < 21 || empty > 25 {
		t.Errorf("%d seconds of %d are empty", empty, len(v.Time))
	}
}

// A day without its course has the same results.
func TestUndrawnDay(t *testing.T) {
	list := must(t, shortDay)
	drawn, undrawn := New(boatA(t), "test", oneBus), New(boatA(t), "test", oneBus)
	undrawn.Undrawn()
	for k := range list {
		drawn.Frame(&list[k])
		undrawn.Frame(&list[k])
	}
	all, whole := drawn.Finish(0)
	want := written(t, all, whole)
	r, line := undrawn.Finish(0)
	if line.Zoom != nil {
		t.Error("it has a course")
	}
	if got := written(t, r, line); got != want {
		t.Errorf("results differ: %d and %d bytes", len(got), len(want))
	}
}
