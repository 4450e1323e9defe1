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
	batch    *batch // being filled
	// Beside: a full batch goes to a goroutine that lives for it.
	beside bool
	spare  chan *batch
	busy   chan struct{} // closed when the last batch handed over was taken; nil for none
}

const (
	batchSize = 4096 // samples
	// batches are on their way at the most.
	batches = 4
)

func newPassing(w *watchers) passing {
	p := passing{watchers: w, batch: new(batch)}
	p.batch.samples = make([]sample.Sample, 0, batchSize)
	return p
}

// Beside lets the watchers of a day work while its next frames are decoded. It
// comes before the first frame.
func (d *Day) Beside() {
	p := &d.samples
	p.beside, p.spare = true, make(chan *batch, batches)
	for range batches - 1 {
		p.spare <- &batch{samples: make([]sample.Sample, 0, batchSize)}
	}
}

func (p *passing) add(s *sample.Sample) {
	if p.batch.samples = append(p.batch.samples, *s); len(p.batch.samples) == batchSize {
		p.pass()
	}
}

// change notes a change of source before the next sample.
func (p *passing) change(time int64) {
	p.batch.changes = append(p.batch.changes, newSource{len(p.batch.samples), time})
}

func (p *passing) pass() {
	if !p.beside {
		p.take(p.batch)
		return
	}
	full, before, done := p.batch, p.busy, make(chan struct{})
	p.busy = done
	go func() {
		if before != nil {
			<-before
		}
		p.take(full)
		p.spare <- full
		close(done)
	}()
	p.batch = <-p.spare
}

// settle returns the watchers when they have seen all samples so far.
func (p *passing) settle() *watchers {
	if p.busy != nil {
		<-p.busy
		p.busy = nil
	}
	p.take(p.batch)
	return p.watchers
}

func (p *passing) take(b *batch) {
	p.watchers.take(b)
	b.samples, b.changes = b.samples[:0], b.changes[:0]
}
