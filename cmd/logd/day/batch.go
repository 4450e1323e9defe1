package day

import "trialday.example/logd/decode/sample"

// batch is samples on their way to the watchers, in the order of trial time, and
// the changes of source among them.
type batch struct {
	samples []sample.Sample
	changes []newSource
}

// newSource is a change of source, before the sample of that number.
type newSource struct {
	before int
	time   int64
}

// passing hands batches to the watchers, and what there is so far before anybody
// looks at them. However a day's samples fall into batches, the watchers see the
// same.
//
// Invariant: one batch at a time is with the watchers, in the order in which they
// were filled; nobody else looks at the watchers but after settle.
type passing struct {
	watchers *watchers
	batch    // being filled
	// beside tells that a full batch goes to a goroutine that lives for it.
	beside bool
	spare  chan batch    // empty ones
	busy   chan struct{} // closed when the last batch handed over was taken; nil for none
}

const (
	batchSize = 2048 // samples
	// batches are on their way to the watchers at the most.
	batches = 3
)

func newBatch() batch { return batch{samples: make([]sample.Sample, 0, batchSize)} }

func newPassing(w *watchers) passing { return passing{watchers: w, batch: newBatch()} }

// Beside lets the watchers of a day work while its next frames are decoded. It
// comes before the first frame.
func (d *Day) Beside() {
	p := &d.samples
	p.beside, p.spare = true, make(chan batch, batches)
	for range batches {
		p.spare <- newBatch()
	}
}

func (p *passing) add(s *sample.Sample) {
	n := len(p.samples)
	p.samples = p.samples[:n+1]
	to := &p.samples[n]
	// Field by field: the sample was just written so.
	to.Time, to.Value, to.Quantity, to.Instance, to.Source, to.State = s.Time, s.Value, s.Quantity, s.Instance, s.Source, s.State
	if n+1 == batchSize {
		p.pass()
	}
}

// change notes a change of source before the next sample.
func (p *passing) change(time int64) {
	p.changes = append(p.changes, newSource{len(p.samples), time})
}

// pass hands a full batch over. Where another processor takes it the samples are
// copied at once: written one by one into what it has just read, each cache line
// would be waited for.
func (p *passing) pass() {
	if !p.beside {
		p.watchers.take(&p.batch)
		return
	}
	full, before, done := <-p.spare, p.busy, make(chan struct{})
	full.samples, full.changes = append(full.samples, p.samples...), append(full.changes, p.changes...)
	p.batch.clear()
	p.busy = done
	go func() {
		if before != nil {
			<-before
		}
		p.watchers.take(&full)
		p.spare <- full
		close(done)
	}()
}

// settle returns the watchers when they have seen all samples so far.
func (p *passing) settle() *watchers {
	if p.busy != nil {
		<-p.busy
		p.busy = nil
	}
	p.watchers.take(&p.batch)
	return p.watchers
}

func (b *batch) clear() { b.samples, b.changes = b.samples[:0], b.changes[:0] }
