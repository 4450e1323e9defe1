package frame

import (
	"errors"
	"io"
	"testing"
)

// list is a source of frames at the given times; after them comes its error.
type list struct {
	times []int64
	err   error
}

func (l *list) Buses() []string { return []string{"can0"} }

func (l *list) Next(f *Frame) error {
	if len(l.times) == 0 {
		return l.err
	}
	f.Time, l.times = l.times[0], l.times[1:]
	return nil
}

func TestEach(t *testing.T) {
	broken, enough := errors.New("broken"), errors.New("enough")
	for _, c := range []struct {
		src  list
		stop int64 // time at which do has had enough
		n    int64
		err  error
	}{
		{list{nil, io.EOF}, 0, 0, nil},
		{list{[]int64{1, 2, 3}, io.EOF}, 0, 3, nil},
		{list{[]int64{1, 2}, broken}, 0, 2, broken},
		{list{[]int64{1, 2, 3}, io.EOF}, 2, 1, enough},
	} {
		var last int64
		n, err := Each(&c.src, func(f *Frame) error {
			if f.Time != last+1 {
				t.Errorf("frame %d after %d", f.Time, last)
			}
			if last = f.Time; last == c.stop {
				return enough
			}
			return nil
		})
		if n != c.n || !errors.Is(err, c.err) {
			t.Errorf("%d frames taken and %v, want %d and %v", n, err, c.n, c.err)
		}
	}
}
