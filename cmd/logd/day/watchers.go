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

// take shows a batch to one after the other: what one of them needs stays in the
// processor's caches meanwhile.
func (w *watchers) take(b batch) {
	for i := range b.samples {
		w.fitted.Add(&b.samples[i])
	}
	for i := range b.samples {
		s := &b.samples[i]
		w.burn.Add(s)
		w.gaps.add(s)
		w.hearing.add(s)
	}
	changes := b.changes
	for i := range b.samples {
		for ; len(changes) > 0 && changes[0].before == i; changes = changes[1:] {
			w.trial.SourceChanged(changes[0].time)
		}
		w.trial.Add(&b.samples[i])
		w.course.add(&b.samples[i])
	}
	for _, c := range changes {
		w.trial.SourceChanged(c.time)
	}
	if n := len(b.samples); n > 0 {
		w.last = b.samples[n-1].Time
	}
}

// close ends the day for them.
func (w *watchers) close() {
	w.trial.Close()
	w.gaps.finish(w.last)
}
