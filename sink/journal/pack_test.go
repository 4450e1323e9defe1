package journal

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"

	"golang.org/x/sys/unix"
)

func pack(t testing.TB, dir string) {
	t.Helper()
	if err := Pack(t.Context(), dir); err != nil {
		t.Fatal(err)
	}
}

// size returns the size of each segment.
func sizes(t testing.TB, dir string) map[uint32]int64 {
	t.Helper()
	list, err := segments(dir)
	if err != nil {
		t.Fatal(err)
	}
	all := make(map[uint32]int64)
	for _, n := range list {
		st, err := os.Stat(segmentPath(dir, n))
		if err != nil {
			t.Fatal(err)
		}
		all[n] = st.Size()
	}
	return all
}

func isPacked(t testing.TB, path string) bool {
	t.Helper()
	s, err := openSegment(path, 0)
	if err != nil || s.damage != nil {
		t.Fatal(err, s)
	}
	defer s.file.Close()
	return s.head.packed
}

// checkNothingElse checks that packing left nothing behind.
func checkNothingElse(t *testing.T, dir string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != len(sizes(t, dir)) {
		t.Errorf("%v in the journal, %v", entries, err)
	}
}

func TestPackKeepsEveryFrame(t *testing.T) {
	list := boatBus(20_000)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 20, SegmentBytes: 100_000}, list)
	before := sizes(t, dir)
	reader, err := Open(dir) // has the first segment open
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	var first received
	if err := reader.Next(&first.Frame); err != nil {
		t.Fatal(err)
	}
	middle, err := OpenAt(dir, Cursor{Segment: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer middle.Close()
	at := middle.Position()

	pack(t, dir)
	after := sizes(t, dir)
	if len(after) < 3 || len(after) != len(before) {
		t.Fatalf("segments %v, before %v", after, before)
	}
	for n := range after {
		if !isPacked(t, segmentPath(dir, n)) || after[n]*2 > before[n] {
			t.Errorf("segment %d has %d bytes, %d before", n, after[n], before[n])
		}
	}
	got, rec := read(t, dir)
	checkEqual(t, got, list)
	if rec.Count != 0 {
		t.Errorf("losses: %v", rec)
	}
	checkEqual(t, drain(t, reader), list[1:])
	again, err := OpenAt(dir, at)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	checkEqual(t, drain(t, again), drain(t, middle))
	checkNothingElse(t, dir)

	write(t, dir, Options{}, list[:100]) // the journal goes on
	for range 2 {
		if n, err := Count(dir); n != 20_100 || err != nil {
			t.Errorf("%d frames counted, %v", n, err)
		}
		pack(t, dir)
	}
	got, _ = read(t, dir)
	checkEqual(t, got, append(list, list[:100]...))
}

func TestPackKeepsEveryKindOfFrame(t *testing.T) {
	for seed := range uint64(5) {
		list := randomFrames(100+seed, 3000)
		dir := t.TempDir()
		write(t, dir, Options{BlockFrames: 1 + int(seed)*50, Uncompressed: seed == 0}, list)
		pack(t, dir)
		if !isPacked(t, segmentPath(dir, 1)) {
			t.Error("not packed")
		}
		got, rec := read(t, dir)
		checkEqual(t, got, list)
		if rec.Count != 0 {
			t.Errorf("losses: %v", rec)
		}
	}
}

// TestPackLeavesWhatIsBeingWritten: neither it nor the writer knows of the
// other.
func TestPackLeavesWhatIsBeingWritten(t *testing.T) {
	list := randomFrames(110, 4000)
	dir := t.TempDir()
	w, err := Create(dir, Options{BlockFrames: 20, SegmentBytes: 20_000})
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(list); i += 1000 {
		appendAll(t, w, list[i:i+1000])
		pack(t, dir)
		for n := range sizes(t, dir) {
			if written := n == w.number; isPacked(t, segmentPath(dir, n)) == written {
				t.Errorf("segment %d of %d: packed %v", n, w.number, !written)
			}
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	pack(t, dir)
	got, _ := read(t, dir)
	checkEqual(t, got, list)
	checkNothingElse(t, dir)
}

func TestPackLeavesDamageAlone(t *testing.T) {
	list := randomFrames(111, 900)
	for name, damage := range map[string]func(path string){
		"a block": func(path string) { flip(t, path, blockOffsets(t, path)[1]+blockHeadLen+5) },
		"header":  func(path string) { flip(t, path, 33) },
		"the end": func(path string) { shorten(t, path, 7) },
		"empty":   func(path string) { shorten(t, path, sizes(t, filepath.Dir(path))[1]-headerLen) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			write(t, dir, Options{BlockFrames: 100}, list[:600])
			path := segmentPath(dir, 1)
			damage(path)
			was, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			write(t, dir, Options{BlockFrames: 100}, list[600:])
			want, _ := read(t, dir)
			cut, err := os.ReadFile(path) // the writer has cut an unfinished block off
			if err != nil {
				t.Fatal(err)
			}
			pack(t, dir)
			got, _ := read(t, dir)
			checkEqual(t, got, want)
			if is, err := os.ReadFile(path); err != nil || name != "the end" && string(is) != string(was) || len(is) > len(cut) {
				t.Errorf("the damaged segment was changed, %v", err)
			}
			if !isPacked(t, segmentPath(dir, 2)) {
				t.Error("the whole one was not packed")
			}
			checkNothingElse(t, dir)
		})
	}
}

func TestPackOfNothing(t *testing.T) {
	dir := t.TempDir()
	pack(t, dir)
	if n, err := Count(dir); n != 0 || err != nil {
		t.Errorf("%d frames counted in an empty journal, %v", n, err)
	}
	if err := Pack(t.Context(), filepath.Join(dir, "none")); err == nil {
		t.Error("packed what is not there")
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	list := randomFrames(112, 100)
	write(t, dir, Options{BlockFrames: 10}, list)
	if err := Pack(ctx, dir); err == nil || isPacked(t, segmentPath(dir, 1)) {
		t.Errorf("went on after it was told to end: %v", err)
	}
	checkNothingElse(t, dir)
}

func TestPackersAtOnce(t *testing.T) {
	list := randomFrames(113, 5000)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 20, SegmentBytes: 20_000}, list)
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			if err := Pack(t.Context(), dir); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	pack(t, dir) // what each left to another
	for n := range sizes(t, dir) {
		if !isPacked(t, segmentPath(dir, n)) {
			t.Errorf("segment %d is not packed", n)
		}
	}
	got, _ := read(t, dir)
	checkEqual(t, got, list)
	checkNothingElse(t, dir)
}

// TestPackedMeanwhile: another process opens the same file to pack into, and
// has made the segment of it before ours gets the lock.
func TestPackedMeanwhile(t *testing.T) {
	list := randomFrames(114, 500)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 20}, list)
	n := 0
	p := packer{dir: dir, step: func() {
		if n++; n == 2 {
			pack(t, dir)
		}
	}}
	if err := p.pack(t.Context()); err != nil {
		t.Fatal(err)
	}
	got, _ := read(t, dir)
	checkEqual(t, got, list)
	checkNothingElse(t, dir)
}

// killAtStep makes a test binary a packer that is killed at a step.
const killAtStep = "TRIALDAY_PACK_KILL_AT"

// TestPackKilledAtEveryStep kills a process that packs, before each of its
// writes: every frame is there, and the next one finishes the work.
func TestPackKilledAtEveryStep(t *testing.T) {
	if at := os.Getenv(killAtStep); at != "" {
		n, err := strconv.Atoi(at)
		if err != nil {
			t.Fatal(err)
		}
		p := packer{dir: os.Getenv("TRIALDAY_PACK_DIR"), step: func() {
			if n--; n < 0 {
				unix.Kill(os.Getpid(), unix.SIGKILL)
				select {}
			}
		}}
		if err := p.pack(t.Context()); err != nil {
			t.Fatal(err)
		}
		return
	}
	list := boatBus(2*blockFrames + 100)
	from := t.TempDir()
	write(t, from, Options{BlockFrames: 500}, list[:len(list)-1000])
	write(t, from, Options{BlockFrames: 20}, list[len(list)-1000:])
	for n := 0; ; n++ {
		dir := t.TempDir()
		if err := os.CopyFS(dir, os.DirFS(from)); err != nil {
			t.Fatal(err)
		}
		c := exec.Command(os.Args[0], "-test.run=^TestPackKilledAtEveryStep$")
		c.Env = append(os.Environ(), fmt.Sprintf("%s=%d", killAtStep, n), "TRIALDAY_PACK_DIR="+dir)
		out, err := c.CombinedOutput()
		got, rec := read(t, dir)
		checkEqual(t, got, list)
		if rec.Count != 0 {
			t.Errorf("killed at step %d: %v", n, rec)
		}
		w, werr := Create(dir, Options{})
		if werr != nil || w.Frames() != uint64(len(list)) || w.Recovery().Count != 0 {
			t.Fatalf("killed at step %d: the writer finds %d frames, %v, %v", n, w.Frames(), w.Recovery(), werr)
		}
		w.Close()
		pack(t, dir)
		got, _ = read(t, dir)
		checkEqual(t, got, list)
		checkNothingElse(t, dir)
		if err == nil {
			if n < 14 {
				t.Errorf("%d steps; two segments take more\n%s", n, out)
			}
			return
		}
		if c.ProcessState.Exited() {
			t.Fatalf("the packer was not killed but: %v\n%s", err, out)
		}
	}
}

// TestPackedSize: a boat's traffic in the blocks of a logger that writes ten a
// second, packed and written at once.
func TestPackedSize(t *testing.T) {
	list := boatBus(100_000)
	small, packed := t.TempDir(), t.TempDir()
	write(t, small, Options{BlockFrames: 100}, list)
	write(t, packed, Options{Packed: true}, list)
	before := sizes(t, small)[1]
	pack(t, small)
	each := float64(sizes(t, small)[1]) / float64(len(list))
	t.Logf("%.2f bytes a frame, %.2f before", each, float64(before)/float64(len(list)))
	if each > 4 {
		t.Errorf("%.2f bytes a frame", each)
	}
	if a, b := sizes(t, small)[1], sizes(t, packed)[1]; a != b {
		t.Errorf("%d bytes packed, %d written so", a, b)
	}
	if !isPacked(t, segmentPath(packed, 1)) {
		t.Error("written packed and not marked so")
	}
}
