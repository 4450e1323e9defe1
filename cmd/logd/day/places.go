package day

import (
	"encoding/binary"
	"sort"

	"trialday.example/logd/sink/results"
)

// places tells by number which frames came in a stretch of trial time. Windows
// begin and end on whole seconds, so that the first frame of each second is
// all that is kept, in some 2.5 bytes.
type places struct {
	frames int64 // taken so far
	last   place // of the last second in which a frame came
	// marks are every markEvery-th of these seconds. Steps are those between
	// them, each as how much more than the last its frame is and its second is,
	// less 1 (variable-length integers of encoding/binary, the second's flagged
	// in the lowest bit of the frame's and left out where it is 0).
	marks []mark
	steps []byte
	count int
	// waiting are the times of the last frames while a jump of the recorder's
	// clock is open: they are too early by what late will have grown by.
	waiting []int64
	late    int64
}

// place is the first frame, counted from 0, at or after a second.
type place struct{ second, frame int64 }

// mark is a place and where the steps from it begin.
type mark struct {
	place
	steps int
}

const markEvery = 64

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
	if now := (place{at / 1e9, p.frames}); p.count == 0 || p.last.second < now.second {
		p.keep(now)
	}
	p.frames++
}

func (p *places) keep(now place) {
	if p.count%markEvery == 0 {
		p.marks = append(p.marks, mark{now, len(p.steps)})
	} else {
		frames, more := uint64(now.frame-p.last.frame), uint64(now.second-p.last.second-1)
		if more == 0 {
			p.steps = binary.AppendUvarint(p.steps, frames<<1)
		} else {
			p.steps = binary.AppendUvarint(binary.AppendUvarint(p.steps, frames<<1|1), more)
		}
	}
	p.last = now
	p.count++
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
	second := t / 1e9
	if p.count == 0 || p.last.second < second {
		return p.frames
	}
	i := sort.Search(len(p.marks), func(i int) bool { return p.marks[i].second > second }) - 1
	if i < 0 {
		return 0
	}
	// The place asked for is this mark, a step from it, or the next mark.
	now, steps := p.marks[i].place, p.steps[p.marks[i].steps:]
	number := func() int64 {
		v, n := binary.Uvarint(steps)
		steps = steps[n:]
		return int64(v)
	}
	for k := 1; now.second < second; k++ {
		if k == markEvery {
			return p.marks[i+1].frame
		}
		v := number()
		now.frame += v >> 1
		now.second++
		if v&1 == 1 {
			now.second += number()
		}
	}
	return now.frame
}
