package frame

import (
	"errors"
	"io"
)

// Each hands every frame of src to do, in order, and returns how many do took.
// It stops at the first error, of src or of do; the end of src is none. The
// frame is overwritten by the next.
func Each(src Source, do func(*Frame) error) (n int64, err error) {
	var f Frame
	for {
		if err := src.Next(&f); errors.Is(err, io.EOF) {
			return n, nil
		} else if err != nil {
			return n, err
		}
		if err := do(&f); err != nil {
			return n, err
		}
		n++
	}
}
