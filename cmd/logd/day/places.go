package day

import (
	"sort"

	"trialday.example/logd/sink/results"
)

// places tells by number which frames came in a stretch of trial time. Windows
// begin and end on whole seconds, so that the first frame of each second is
// all that is kept: 16 bytes a second in which a frame came.
type places struct {
	frames  int64 // taken so far
	seconds []place
	// waiting are the times of the last frames while a jump of the recorder's
	// clock is open: they are too early by what late will have grown by.
	waiting []int64
	late    int64
}

// place is the first frame, counted from 0, at or after a second.
type place struct{ second, frame int64 }

// maxWaiting bounds the wait. The decoder ends it after ten seconds of frames,
// some 40,000 on two full buses.
const maxWaiting = 1 << 18

// add takes the trial time of the next frame; while a jump is open it waits.
func (p *places) add(now int64, open bool, late int64) {
	if late != p.late || !open || len(p.waiting) == maxWaiting {
		p.finish(late)
	}
	if open {
		p.waiting = append(p.waiting, now)
	} else {
		p.put(now)
	}
}

// finish places the frames that waited.
func (p *places) finish(late int64) {
	for _, at := range p.waiting {
		p.put(at + late - p.late)
	}
	p.waiting, p.late = p.waiting[:0], late
}

func (p *places) put(at int64) {
	if s, n := at/1e9, len(p.seconds); n == 0 || p.seconds[n-1].second < s {
		p.seconds = append(p.seconds, place{s, p.frames})
	}
	p.frames++
}

// between returns the numbers of the frames from one whole second of trial time
// to another, counted from 1; nil where none came.
func (p *places) between(from, to int64) *results.FrameRange {
	first, end := p.at(from), p.at(to)
	if first >= end {
		return nil
	}
	return &results.FrameRange{First: first + 1, Last: end}
}

// at counts the frames before a whole second.
func (p *places) at(t int64) int64 {
	i := sort.Search(len(p.seconds), func(i int) bool { return p.seconds[i].second >= t/1e9 })
	if i == len(p.seconds) {
		return p.frames
	}
	return p.seconds[i].frame
}
