package day

import (
	"trialday.example/logd/calc"
	"trialday.example/logd/calc/dayburn"
	"trialday.example/logd/calc/installation"
	"trialday.example/logd/configs"
)

// watchers are all who watch the samples of a day. They know nothing of each other
// but for the course, which is drawn by the seconds of the trial.
//
// They are an object of their own: decoding goes on beside them, and what two
// processors write may not share a cache line.
type watchers struct {
	trial   *calc.Trial
	fitted  *installation.Watch
	gaps    gapWatch
	hearing hearing
	course  course
	burn    dayburn.Watch
	last    int64 // trial time of the last sample
}

func newWatchers(c *configs.Config) *watchers {
	w := &watchers{trial: calc.New(settings(c)), fitted: newFitted(c), course: newCourse()}
	w.trial.Each(w.course.second)
	return w
}

// portion is how many samples, 6 kB of them, are shown to one after the other: they
// and what one of them needs stay in the processor's first cache meanwhile.
const portion = 256

// take shows a batch to all and empties it.
func (w *watchers) take(b *batch) {
	all, changes := b.samples, b.changes
	for from := 0; from < len(all); from += portion {
		samples := all[from:min(from+portion, len(all))]
		for i := range samples {
			w.fitted.Add(&samples[i])
		}
		for i := range samples {
			s := &samples[i]
			w.burn.Add(s)
			w.gaps.add(s)
			w.hearing.add(s)
		}
		for i := range samples {
			for ; len(changes) > 0 && changes[0].before == from+i; changes = changes[1:] {
				w.trial.SourceChanged(changes[0].time)
			}
			w.trial.Add(&samples[i])
			w.course.add(&samples[i])
		}
	}
	for _, c := range changes {
		w.trial.SourceChanged(c.time)
	}
	if n := len(all); n > 0 {
		w.last = all[n-1].Time
	}
	b.clear()
}

// close ends the day for them.
func (w *watchers) close() {
	w.trial.Close()
	w.gaps.finish(w.last)
}
