package capture

import (
	"fmt"
	"runtime"

	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
)

// journalFormat reads our own journal.
type journalFormat struct {
	owner  *Reader
	path   string
	in     *journal.Reader
	number []int // our bus number of each of the journal's, -1 without one
	frames int64
}

func (r *Reader) openJournal(path string) (format, error) {
	in, err := journal.Open(path)
	if err != nil {
		return nil, err
	}
	in.ReadAhead(runtime.GOMAXPROCS(0) + 1)
	return &journalFormat{owner: r, path: path, in: in}, nil
}

func (j *journalFormat) next(f *frame.Frame) error {
	for {
		if err := j.in.Next(f); err != nil {
			return err
		}
		bus := j.bus(f.Bus)
		if bus >= 0 {
			f.Bus = uint8(bus)
			j.frames++
			return nil
		}
	}
}

// bus translates a bus number. Names beyond the limit are a fault a frame.
func (j *journalFormat) bus(theirs uint8) int {
	for len(j.number) <= int(theirs) {
		ours, reason := j.owner.buses.index([]byte(j.in.Buses()[len(j.number)]))
		if reason != "" {
			j.number = append(j.number, -1)
			continue
		}
		j.number = append(j.number, int(ours))
	}
	if j.number[theirs] < 0 {
		j.owner.faults.add(Fault{File: j.path, Unit: "frame", N: int64(j.in.Position().Frame),
			Reason: "more than 32 interface names in the captures"})
	}
	return j.number[theirs]
}

func (j *journalFormat) position() int64 { return j.in.BytesRead() }

func (j *journalFormat) empty() error {
	return fmt.Errorf("%s: no frame in the journal; check that the logger was recording", j.path)
}

// close hands on what the journal lost.
func (j *journalFormat) close() error {
	for _, l := range j.in.Recovery().Losses {
		j.owner.faults.add(Fault{File: l.File, Unit: "byte", N: l.Offset, Reason: l.String()})
	}
	return j.in.Close()
}
