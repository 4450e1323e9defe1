package aboard

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// space is the room on a file system in bytes: what a service may use, and all
// there is.
type space struct{ free, size int64 }

// disk measures the file system of a directory.
func disk(dir string) (space, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return space{}, fmt.Errorf("cannot measure the disk of %s: %w", dir, err)
	}
	unit := int64(s.Frsize)
	if unit == 0 {
		unit = int64(s.Bsize)
	}
	return space{int64(s.Bavail) * unit, int64(s.Blocks) * unit}, nil
}

// reserve is what is kept free of it, bytes: what is configured, but of a small
// disk no more than a twentieth.
func (s space) reserve(keepMB int) int64 { return min(int64(keepMB)<<20, s.size/20) }

// FreeFor is the room for journals on the disk of a directory, in bytes, less
// what is kept free.
func FreeFor(dir string, keepMB int) (int64, error) {
	s, err := disk(dir)
	return max(s.free-s.reserve(keepMB), 0), err
}
