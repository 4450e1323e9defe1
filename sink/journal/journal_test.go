package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"trialday.example/logd/decode/frame"
)

// received is a frame with the name of its bus, as tests compare it.
type received struct {
	frame.Frame
	bus string
}

// randomFrame makes a frame of any kind: few identifiers or any, regular time
// steps or none, on one of several buses.
func randomFrame(r *rand.Rand, prev received) received {
	var f received
	f.bus = fmt.Sprintf("can%d", r.IntN(3))
	switch r.IntN(6) {
	case 0:
		f.ID, f.IsError = r.Uint32N(1<<29), true
	case 1:
		f.ID = r.Uint32N(1 << 11)
	case 2:
		f.ID, f.IsExtended = r.Uint32N(1<<29), true
	default:
		f.ID, f.IsExtended = 0x09f80200|r.Uint32N(4), true
	}
	f.Length = uint8(r.IntN(9))
	if f.IsRemote = r.IntN(10) == 0; !f.IsRemote {
		for i := range f.Length {
			f.Data[i] = byte(r.Uint32())
		}
	}
	switch r.IntN(20) {
	case 0:
		f.Time = r.Int64() - math.MaxInt64/2
	case 1:
		f.Time = prev.Time - r.Int64N(1e9)
	default:
		f.Time = prev.Time + r.Int64N(1e6)*1000
	}
	return f
}

func randomFrames(seed uint64, n int) []received {
	r := rand.New(rand.NewPCG(seed, 1))
	list := make([]received, n)
	prev := received{Frame: frame.Frame{Time: 1_700_000_000_000_000_000}}
	for i := range list {
		list[i] = randomFrame(r, prev)
		prev = list[i]
	}
	return list
}

func write(t testing.TB, dir string, opts Options, list []received) {
	t.Helper()
	w, err := Create(dir, opts)
	if err != nil {
		t.Fatal(err)
	}
	appendAll(t, w, list)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

func appendAll(t testing.TB, w *Writer, list []received) {
	t.Helper()
	for i := range list {
		if err := w.Append(&list[i].Frame, list[i].bus); err != nil {
			t.Fatal(err)
		}
	}
}

// drain reads to the present end.
func drain(t testing.TB, r *Reader) []received {
	t.Helper()
	var list []received
	for {
		var f received
		err := r.Next(&f.Frame)
		if err == io.EOF {
			return list
		}
		if err != nil {
			t.Fatal(err)
		}
		f.bus = r.Buses()[f.Bus]
		list = append(list, f)
	}
}

func read(t testing.TB, path string) ([]received, Recovery) {
	t.Helper()
	r, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	r.ReadAhead(4)
	return drain(t, r), r.Recovery()
}

// same compares everything but the number of the bus, which the reader may
// give differently.
func same(a, b received) bool {
	a.Bus, b.Bus = 0, 0
	return a == b
}

func checkEqual(t *testing.T, got, want []received) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d frames, want %d", len(got), len(want))
	}
	for i := range got {
		if !same(got[i], want[i]) {
			t.Fatalf("frame %d is %+v, want %+v", i, got[i], want[i])
		}
	}
}

func TestRoundTrip(t *testing.T) {
	for seed := range uint64(20) {
		for _, plain := range []bool{false, true} {
			n := int(seed * seed * 10)
			want := randomFrames(seed, n)
			dir := t.TempDir()
			write(t, dir, Options{BlockFrames: 1 + int(seed)*37, SegmentBytes: 20000, Uncompressed: plain}, want)
			got, rec := read(t, dir)
			checkEqual(t, got, want)
			if rec.Count != 0 {
				t.Errorf("losses in a whole journal: %v", rec)
			}
		}
	}
}

func TestManyIdentifiersInOneBlock(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	want := make([]received, maxFrames)
	for i := range want {
		want[i].bus = "can0"
		want[i].ID, want[i].IsExtended, want[i].Length = uint32(i), true, 8
		for k := range want[i].Data {
			want[i].Data[k] = byte(r.Uint32())
		}
		want[i].Time = r.Int64() - math.MaxInt64/2
	}
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: maxFrames}, want)
	got, _ := read(t, dir)
	checkEqual(t, got, want)
}

func TestRotation(t *testing.T) {
	want := randomFrames(3, 5000)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 100, SegmentBytes: 10000}, want)
	list, err := segments(dir)
	if err != nil || len(list) < 5 {
		t.Fatalf("segments %v, %v; want several", list, err)
	}
	for _, n := range list {
		st, err := os.Stat(segmentPath(dir, n))
		if err != nil || st.Size() > 10000 {
			t.Errorf("segment %d: %v bytes, %v", n, st.Size(), err)
		}
		// Any segment can be read alone.
		if got, rec := read(t, segmentPath(dir, n)); len(got) == 0 || rec.Count != 0 {
			t.Errorf("segment %d alone: %d frames, %v", n, len(got), rec)
		}
	}
	got, _ := read(t, dir)
	checkEqual(t, got, want)
}

func TestAppendAgain(t *testing.T) {
	want := randomFrames(4, 3000)
	dir := t.TempDir()
	for i := 0; i < len(want); i += 1000 {
		write(t, dir, Options{}, want[i:i+1000])
	}
	got, rec := read(t, dir)
	checkEqual(t, got, want)
	if rec.Count != 0 {
		t.Errorf("losses: %v", rec)
	}
}

func TestRefusesWhatIsNoFrame(t *testing.T) {
	w, err := Create(t.TempDir(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	var f frame.Frame
	f.Length = 9
	if w.Append(&f, "can0") == nil {
		t.Error("accepted 9 data bytes")
	}
	f.Length = 8
	if w.Append(&f, strings.Repeat("x", 256)) == nil {
		t.Error("accepted a name of 256 bytes")
	}
	for i := range frame.MaxBuses {
		if err := w.Append(&f, fmt.Sprint(i)); err != nil {
			t.Fatal(err)
		}
	}
	if w.Append(&f, "one more") == nil {
		t.Error("accepted one bus too many")
	}
}

func TestOneWriter(t *testing.T) {
	dir := t.TempDir()
	w, err := Create(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Create(dir, Options{}); err == nil || !strings.Contains(err.Error(), dir) {
		t.Fatalf("second writer: %v", err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	w, err = Create(dir, Options{})
	if err != nil {
		t.Fatalf("after the first was closed: %v", err)
	}
	w.Close()
}

func TestFollowLive(t *testing.T) {
	want := randomFrames(5, 4000)
	dir := t.TempDir()
	r, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if got := drain(t, r); len(got) != 0 {
		t.Fatalf("%d frames in an empty journal", len(got))
	}
	var got []received
	for i := 0; i < len(want); i += 1000 { // each part by another writer
		w, err := Create(dir, Options{BlockFrames: 64, SegmentBytes: 4000})
		if err != nil {
			t.Fatal(err)
		}
		for k := i; k < i+1000; k += 100 {
			appendAll(t, w, want[k:k+100])
			if err := w.Flush(); err != nil {
				t.Fatal(err)
			}
			got = append(got, drain(t, r)...)
			checkEqual(t, got, want[:k+100])
		}
		w.Close()
	}
	if rec := r.Recovery(); rec.Count != 0 {
		t.Errorf("losses: %v", rec)
	}
}

// TestFollowConcurrently has a reader run freely beside the writer.
func TestFollowConcurrently(t *testing.T) {
	want := randomFrames(6, 20000)
	dir := t.TempDir()
	r, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	done := make(chan error, 1)
	go func() {
		w, err := Create(dir, Options{BlockFrames: 50, SegmentBytes: 20000})
		for i := 0; err == nil && i < len(want); i++ {
			err = w.Append(&want[i].Frame, want[i].bus)
		}
		done <- errors.Join(err, w.Close())
	}()
	var got []received
	for writing := true; writing; {
		select {
		case err := <-done:
			if err != nil {
				t.Fatal(err)
			}
			writing = false
		default:
		}
		got = append(got, drain(t, r)...)
	}
	checkEqual(t, got, want)
}

// TestFollowByteByByte: a reader sees the file grow in the middle of blocks,
// and takes each block when it is whole.
func TestFollowByteByByte(t *testing.T) {
	want := randomFrames(16, 50)
	from, to := t.TempDir(), t.TempDir()
	write(t, from, Options{BlockFrames: 10}, want)
	b, err := os.ReadFile(segmentPath(from, 1))
	if err != nil {
		t.Fatal(err)
	}
	offsets := blockOffsets(t, segmentPath(from, 1))
	file, err := os.Create(segmentPath(to, 1))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	if _, err := file.Write(b[:headerLen]); err != nil { // a header is never seen in part
		t.Fatal(err)
	}
	r, err := Open(to)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var got []received
	for at := headerLen; at < len(b); at++ {
		if _, err := file.Write(b[at : at+1]); err != nil {
			t.Fatal(err)
		}
		got = append(got, drain(t, r)...)
		whole := 0
		for whole+1 < len(offsets) && offsets[whole+1] <= int64(at+1) {
			whole++
		}
		checkEqual(t, got, want[:10*whole])
	}
	checkEqual(t, got, want)
	if rec := r.Recovery(); rec.Count != 0 {
		t.Errorf("losses: %v", rec)
	}
}

// TestManyDamagedBlocks makes the reader search far for whole blocks.
func TestManyDamagedBlocks(t *testing.T) {
	list := randomFrames(17, 40_000)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 10_000, Uncompressed: true}, list)
	write(t, dir, Options{}, list[:1])
	path := segmentPath(dir, 1)
	offsets := blockOffsets(t, path)
	flip(t, path, offsets[0])     // the magic
	flip(t, path, offsets[2]+4)   // the stored length
	flip(t, path, offsets[3]+100) // the payload
	got, rec := read(t, dir)
	checkEqual(t, got, append(list[10_000:20_000:20_000], list[0]))
	if rec.Count != 2 || rec.Frames != 30_000 {
		t.Errorf("losses: %d places, %d frames", rec.Count, rec.Frames)
	}
}

// TestReadAheadIsLeftHalfWay closes a reader that has blocks in work.
func TestReadAheadIsLeftHalfWay(t *testing.T) {
	list := randomFrames(18, 20_000)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 2000}, list)
	for n := range 5 {
		r, err := Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		r.ReadAhead(3)
		var f frame.Frame
		for i := range n * 2000 {
			if err := r.Next(&f); err != nil || f.Time != list[i].Time {
				t.Fatal(i, f, err)
			}
		}
		if at := r.Position().Frame; at != uint64(n*2000) {
			t.Errorf("position %d after %d frames", at, n*2000)
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestCursor(t *testing.T) {
	want := randomFrames(8, 2000)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 100, SegmentBytes: 5000}, want)
	r, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for i := 0; ; i++ {
		if i%37 == 0 || i == len(want) {
			at, err := OpenAt(dir, r.Position())
			if err != nil {
				t.Fatal(err)
			}
			checkEqual(t, drain(t, at), want[i:])
			if rec := at.Recovery(); rec.Count != 0 {
				t.Fatalf("losses from frame %d on: %v", i, rec)
			}
			at.Close()
		}
		var f frame.Frame
		if err := r.Next(&f); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

// TestCursorBehindCutTail: a reader that was ahead of what survived a crash
// goes on with what the next writer adds.
func TestCursorBehindCutTail(t *testing.T) {
	list := randomFrames(9, 300)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 100}, list[:200])
	r, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	drain(t, r)
	at := r.Position()
	r.Close()
	shorten(t, segmentPath(dir, 1), 10)
	write(t, dir, Options{}, list[200:])
	r, err = OpenAt(dir, at)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	checkEqual(t, drain(t, r), list[200:])
}

func shorten(t *testing.T, path string, by int64) {
	t.Helper()
	st, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, st.Size()-by); err != nil {
		t.Fatal(err)
	}
}

func TestTornTailIsCutAndAppendedAfter(t *testing.T) {
	list := randomFrames(10, 400)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 100}, list[:300])
	path := segmentPath(dir, 1)
	shorten(t, path, 5)

	got, rec := read(t, dir)
	checkEqual(t, got, list[:200])
	if rec.Count != 1 || rec.Frames != 100 || rec.Bytes == 0 || rec.Losses[0].File != path {
		t.Fatalf("reader: %+v", rec)
	}

	w, err := Create(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if wrec := w.Recovery(); wrec.Count != 1 || wrec.Bytes != rec.Bytes || wrec.Frames != 100 {
		t.Fatalf("writer: %+v", wrec)
	}
	if st, _ := os.Stat(path); st.Size() != rec.Losses[0].Offset {
		t.Errorf("file has %d bytes, want it cut at %d", st.Size(), rec.Losses[0].Offset)
	}
	appendAll(t, w, list[300:])
	w.Close()
	got, rec = read(t, dir)
	checkEqual(t, got, append(list[:200:200], list[300:]...))
	if rec.Count != 0 {
		t.Errorf("after the cut: %v", rec)
	}
}

// blockOffsets returns where the blocks of a segment begin, and its size.
func blockOffsets(t testing.TB, path string) []int64 {
	t.Helper()
	s, err := openSegment(path, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer s.file.Close()
	list := []int64{headerLen}
	for {
		h, _, err := s.block(list[len(list)-1], nil)
		if err == io.EOF {
			return list
		}
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, h.end(list[len(list)-1]))
	}
}

// TestDamagedMiddle: in the last segment the journal ends at the damage; once
// it is not the last any more, only the damaged block is missing, and no
// writer has removed the whole ones behind it.
func TestDamagedMiddle(t *testing.T) {
	list := randomFrames(11, 600)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 100}, list[:500])
	path := segmentPath(dir, 1)
	flip(t, path, blockOffsets(t, path)[2]+blockHeadLen+3)
	got, rec := read(t, dir)
	checkEqual(t, got, list[:200])
	if rec.Count != 1 {
		t.Fatalf("last segment: %+v", rec)
	}
	write(t, dir, Options{}, list[500:])
	got, rec = read(t, dir)
	checkEqual(t, got, append(list[:200:200], list[300:]...))
	if rec.Count != 1 || rec.Frames != 100 || rec.Losses[0].Frames != 100 {
		t.Fatalf("earlier segment: %+v", rec)
	}
}

func flip(t testing.TB, path string, off int64) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b[off] ^= 0x10
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestEveryByteFlipped and TestEveryLength damage a small journal of two
// segments in every possible place: all frames before the damage come out, and
// no wrong one.
func TestEveryByteFlipped(t *testing.T) {
	forDamage(t, func(b []byte, at int) []byte {
		b = bytes.Clone(b)
		b[at] ^= 1 << (at % 8)
		return b
	})
}

func TestEveryLength(t *testing.T) {
	forDamage(t, func(b []byte, at int) []byte { return b[:at] })
}

func forDamage(t *testing.T, damage func(b []byte, at int) []byte) {
	list := randomFrames(12, 120)
	dir := t.TempDir()
	write(t, dir, Options{BlockFrames: 20}, list[:60])
	write(t, dir, Options{BlockFrames: 20}, list[60:])
	for number := uint32(1); number <= 2; number++ {
		path := segmentPath(dir, number)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		offsets := blockOffsets(t, path)
		for at := range whole {
			if err := os.WriteFile(path, damage(whole, at), 0o644); err != nil {
				t.Fatal(err)
			}
			before := int(number-1) * 60
			for i, end := range offsets[1:] {
				if int64(at) >= end {
					before = int(number-1)*60 + 20*(i+1)
				}
			}
			where := fmt.Sprintf("segment %d byte %d", number, at)
			complete, rec := checkDamaged(t, dir, list, before, where)
			// Only whole blocks cut off the very end leave no trace.
			silent := number == 2 && slices.Contains(offsets, int64(at))
			if !complete && rec.Count == 0 && !silent {
				t.Fatalf("%s: frames are missing and nothing is reported", where)
			}
		}
		if err := os.WriteFile(path, whole, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// checkDamaged checks that the first frames come out and that the rest is a
// part of what was written, in order. It says whether that is all.
func checkDamaged(t *testing.T, dir string, list []received, before int, where string) (complete bool, rec Recovery) {
	t.Helper()
	got, rec := read(t, dir)
	if len(got) < before {
		t.Fatalf("%s: %d frames, %d are before the damage", where, len(got), before)
	}
	i := 0
	for k := range got {
		for i < len(list) && !same(got[k], list[i]) {
			i++
		}
		if i == len(list) {
			t.Fatalf("%s: frame %d was never written, or not in this order", where, k)
		}
		if k < before && i != k {
			t.Fatalf("%s: frame %d is missing", where, k)
		}
		i++
	}
	return len(got) == len(list), rec
}

func TestNotAJournal(t *testing.T) {
	dir := t.TempDir()
	if _, err := Open(filepath.Join(dir, "none")); err == nil {
		t.Error("opened what is not there")
	}
	if err := os.WriteFile(filepath.Join(dir, "photo.jpg"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir); err == nil {
		t.Error("opened a directory of other files")
	}
}

func TestOtherVersions(t *testing.T) {
	for v, want := range map[byte]error{version + 1: errNewer, version - 1: errOlder} {
		dir := t.TempDir()
		h := segmentHead{number: 1}
		b := h.encode()
		b[8] = v
		seal(b)
		if err := os.WriteFile(segmentPath(dir, 1), b, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(dir); !errors.Is(err, want) {
			t.Errorf("reader: %v", err)
		}
		if _, err := Create(dir, Options{}); !errors.Is(err, want) {
			t.Errorf("writer: %v", err)
		}
	}
}

// TestWriteFailure: what could not be written stays pending, in bounds, and is
// written once that works again.
func TestWriteFailure(t *testing.T) {
	list := randomFrames(13, 60)
	dir := t.TempDir()
	w, err := Create(dir, Options{BlockFrames: 20})
	if err != nil {
		t.Fatal(err)
	}
	appendAll(t, w, list[:20])
	w.file.Close() // as if the medium was pulled out
	kept := 20
	for i := 20; i < 60; i++ {
		if w.Append(&list[i].Frame, list[i].bus) == nil {
			kept++
		}
	}
	if kept != 40 || w.Frames() != 40 || w.Flush() == nil {
		t.Fatalf("%d frames accepted while writing failed, %d counted; want 40", kept, w.Frames())
	}
	w.file = nil // the next write begins a segment, as after a remount
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	got, rec := read(t, dir)
	checkEqual(t, got, list[:40])
	if rec.Count != 0 {
		t.Errorf("losses: %v", rec)
	}
}

// TestDamagedHeadersKeepIdentity: the id and the index go on behind damage.
func TestDamagedHeadersKeepIdentity(t *testing.T) {
	list := randomFrames(14, 300)
	dir := t.TempDir()
	write(t, dir, Options{}, list[:100])
	write(t, dir, Options{}, list[100:200])
	flip(t, segmentPath(dir, 2), 20)
	write(t, dir, Options{}, list[200:])
	got, rec := read(t, dir)
	checkEqual(t, got, list)
	if rec.Count != 1 || rec.Frames != 0 {
		t.Errorf("losses: %+v", rec)
	}
	heads := make([]segmentHead, 4)
	for n := range uint32(4) {
		if n == 0 || n == 2 {
			continue
		}
		s, err := openSegment(segmentPath(dir, n), n)
		if err != nil || s.damage != nil {
			t.Fatal(err, s.damage)
		}
		heads[n] = s.head
		s.file.Close()
	}
	if heads[1].id != heads[3].id || heads[3].first != 200 {
		t.Errorf("heads %+v and %+v", heads[1], heads[3])
	}
}

// TestDeletedSegments: a reader whose segment is gone goes on with the next
// one, and frames missing in the middle are counted.
func TestDeletedSegments(t *testing.T) {
	list := randomFrames(15, 400)
	dir := t.TempDir()
	for i := 0; i < 400; i += 100 {
		write(t, dir, Options{}, list[i:i+100])
	}
	if err := errors.Join(os.Remove(segmentPath(dir, 1)), os.Remove(segmentPath(dir, 3))); err != nil {
		t.Fatal(err)
	}
	r, err := OpenAt(dir, Cursor{Segment: 1, Frame: 5})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	checkEqual(t, drain(t, r), append(list[100:200:200], list[300:]...))
	if rec := r.Recovery(); rec.Frames != 100 || rec.Count != 1 {
		t.Errorf("losses: %+v", rec)
	}
}
