package aboard

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/frame"
	"trialday.example/logd/sink/journal"
	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
)

// trials lists the trials of a configuration.
func trials(t *testing.T, c configs.Config) []logbook.Trial {
	t.Helper()
	book, err := logbook.Open(c.Journal.Dir)
	if err != nil {
		t.Fatal(err)
	}
	list, err := book.Trials()
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func (d *daemon) kept() uint64 {
	if s := d.recorder.status.session.Load(); s != nil {
		return s.written.Load()
	}
	return 0
}

func TestAllFramesOfAllBusesAreKept(t *testing.T) {
	c := config(t)
	one, two := ticks(morning, 5000), ticks(morning, 3000)
	for i := range two {
		two[i].ID++ // to tell them apart
	}
	two[7].IsError, two[7].IsExtended = true, false
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(one, "can0"), newScript(two, "can1")}})
	until(t, "the frames are kept", func() bool { return d.kept() == 8000 })
	stop()
	list := trials(t, c)
	if len(list) != 1 || list[0].Closed() {
		t.Fatalf("%+v", list)
	}
	all := read(t, list[0].Frames())
	if len(all) != 8000 {
		t.Fatalf("%d frames", len(all))
	}
	var first, second []frame.Frame
	number := all[0].Bus
	if all[0].ID == two[0].ID {
		number ^= 1
	}
	for _, f := range all {
		if f.Bus == number {
			f.Bus = 0
			first = append(first, f)
		} else {
			f.Bus = 0
			second = append(second, f)
		}
	}
	equal(t, first, one)
	equal(t, second, two)
	if p, ok := list[0].Pulse(); !ok || p.Frames != 8000 {
		t.Errorf("pulse %+v", p)
	}
}

func TestStoppingLosesNothing(t *testing.T) {
	c := config(t)
	c.Journal.SyncS = 60
	frames := ticks(morning, 100000)
	src := newScript(frames)
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{src}})
	until(t, "some frames came", func() bool {
		b := d.buses.all()
		return len(b) > 0 && b[0].frames.Load() > 10
	})
	stop()
	// What was received is in the journal, and no more.
	got := read(t, trials(t, c)[0].Frames())
	if n := d.buses.all()[0].frames.Load(); uint64(len(got)) != n || d.recorder.status.lost.Load() != 0 {
		t.Fatalf("%d frames received, %d kept, %d lost", n, len(got), d.recorder.status.lost.Load())
	}
	equal(t, got, frames[:len(got)])
}

func TestARestartGoesOnWithTheTrial(t *testing.T) {
	c := config(t)
	var want []frame.Frame
	for i := range 3 {
		part := ticks(morning.Add(time.Duration(i)*time.Minute), 100)
		want = append(want, part...)
		d, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(part)}})
		until(t, "the frames are kept", func() bool { return d.kept() == uint64(len(want)) })
		stop()
	}
	list := trials(t, c)
	if len(list) != 1 {
		t.Fatalf("%d trials", len(list))
	}
	equal(t, read(t, list[0].Frames()), want)
}

func TestALongPauseBeginsATrial(t *testing.T) {
	c := config(t)
	c.Journal.ResumeH = 0 // any pause is a long one
	for range 2 {
		d, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(ticks(morning, 10))}})
		until(t, "the frames are kept", func() bool { return d.kept() == 10 })
		stop()
	}
	list := trials(t, c)
	if len(list) != 2 || !list[0].Closed() || list[1].Closed() {
		t.Fatalf("%+v", list)
	}
}

// The machine starts in 1970: how long it was off shows only when satellite
// time comes.
func TestSatelliteTimeShowsALongPause(t *testing.T) {
	for name, c := range map[string]struct {
		pause  time.Duration
		trials int
	}{"a night": {14 * time.Hour, 2}, "a lunch": {time.Hour, 1}} {
		cfg := config(t)
		yesterday := satellite(morning, morning, 60)
		d, stop := work(t, Options{Config: cfg, Sources: []frame.Source{newScript(yesterday)}})
		until(t, "the frames are kept", func() bool { return d.kept() == 60 })
		stop()
		x := trials(t, cfg)[0]
		p, _ := x.Pulse()
		p.Boot, p.Wall = "another run of the machine", time.Now().AddDate(10, 0, 0)
		if err := x.Beat(p); err != nil {
			t.Fatal(err)
		}

		today := satellite(time.Unix(100, 0), morning.Add(time.Minute+c.pause), 60)
		src := newScript(today)
		d, stop = work(t, Options{Config: cfg, Sources: []frame.Source{src}})
		if c.trials == 1 {
			until(t, "the frames are kept and surveyed", func() bool { return d.kept() == 120 && d.lag() == 0 })
		} else {
			until(t, "the trial is closed", func() bool { return trials(t, cfg)[0].Closed() })
		}
		stop()
		if list := trials(t, cfg); len(list) != c.trials {
			t.Errorf("%s: %d trials, want %d", name, len(list), c.trials)
		}
	}
}

func (d *daemon) lag() (n uint64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, c := range d.cursors {
		n += c.lag()
	}
	return n
}

// more is a bus that sends a frame whenever it is asked to.
type more struct {
	*script
	ask chan frame.Frame
}

func (m *more) Next(f *frame.Frame) error {
	select {
	case *f = <-m.ask:
		return nil
	case <-m.end:
		return m.script.Next(f)
	}
}

func newMore() *more { return &more{newScript(nil), make(chan frame.Frame)} }

func (m *more) send(frames []frame.Frame) {
	for _, f := range frames {
		m.ask <- f
	}
}

func TestTrialsAreBegunAndClosedFromOutside(t *testing.T) {
	c := config(t)
	src := newMore()
	written := make(chan string, 10)
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{src},
		Write: func(dir string, _ *results.Results, _ *results.Timeline) error {
			written <- filepath.Base(dir)
			return nil
		}})
	book, err := logbook.Open(c.Journal.Dir)
	if err != nil {
		t.Fatal(err)
	}
	a, b, e := ticks(morning, 10), ticks(morning.Add(time.Hour), 20), ticks(morning.Add(2*time.Hour), 30)
	src.send(a)
	until(t, "the first trial", func() bool { return d.kept() == 10 })
	if _, err := book.New("second", time.Now()); err != nil {
		t.Fatal(err)
	}
	until(t, "the first is left", func() bool { return d.recorder.status.session.Load() == nil })
	src.send(b)
	until(t, "the second trial", func() bool { return d.kept() == 20 })
	if _, _, err := book.Close(time.Now()); err != nil {
		t.Fatal(err)
	}
	until(t, "the second is left", func() bool { return d.recorder.status.session.Load() == nil })
	src.send(e)
	until(t, "the third trial", func() bool { return d.kept() == 30 })
	stop()
	list := trials(t, c)
	if len(list) != 3 || list[1].Name() != "second" {
		t.Fatalf("%+v", list)
	}
	for i, want := range [][]frame.Frame{a, b, e} {
		equal(t, read(t, list[i].Frames()), want)
		if list[i].Closed() != (i < 2) || list[i].Derived() != (i < 2) {
			t.Errorf("trial %d: closed %v, derived %v", i+1, list[i].Closed(), list[i].Derived())
		}
	}
	close(written)
	var dirs []string
	for dir := range written {
		dirs = append(dirs, dir)
	}
	slices.Sort(dirs)
	if strings.Join(dirs, " ") != "0001 0002-second 0003" {
		t.Errorf("results of %v", dirs)
	}
}

func TestATrialThatTheLastRunCouldNotEvaluateIsEvaluated(t *testing.T) {
	c := config(t)
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(ticks(morning, 10))},
		Write: func(string, *results.Results, *results.Timeline) error { return syscall.EIO }})
	until(t, "the frames are kept", func() bool { return d.kept() == 10 })
	stop()
	book, err := logbook.Open(c.Journal.Dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := book.Close(time.Now()); err != nil {
		t.Fatal(err)
	}
	var wrote string
	_, stop = work(t, Options{Config: c, Sources: []frame.Source{newScript(nil)},
		Write: func(dir string, r *results.Results, _ *results.Timeline) error {
			if r.Quality.Frames == 10 {
				wrote = dir
			}
			return nil
		}})
	until(t, "it is derived", func() bool { return trials(t, c)[0].Derived() })
	stop()
	if wrote != trials(t, c)[0].Dir {
		t.Errorf("results in %q", wrote)
	}
}

// A reader that stands still delays neither the journal nor other readers.
func TestASlowReaderDelaysNobody(t *testing.T) {
	c := config(t)
	free := make(chan struct{})
	src := newMore()
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{src},
		Write: func(string, *results.Results, *results.Timeline) error { <-free; return nil }})
	src.send(ticks(morning, 5))
	until(t, "the first trial", func() bool { return d.kept() == 5 })
	slow := &cursor{name: "slow", session: d.recorder.status.session.Load(), log: d.log}
	if !slow.open(t.Context()) {
		t.Fatal("not opened")
	}
	defer slow.in.Close()
	stuck := make(chan struct{})
	go func() {
		slow.each(t.Context(), func(*frame.Frame) { <-free }, func() {})
		close(stuck)
	}()
	src.send(ticks(morning.Add(time.Minute), 2*waiting))
	until(t, "all frames are kept", func() bool { return d.kept() == 5+2*waiting })
	until(t, "other readers have read them", func() bool { return d.lag() == 0 })
	if slow.lag() != 5+2*waiting {
		t.Errorf("the slow reader lags by %d", slow.lag())
	}
	close(free)
	stop()
	<-stuck
}

// small makes a small file system.
func small(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("test", dir, "tmpfs", 0, options); err != nil {
		t.Skipf("a file system of its own needs the right to mount: %v", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir
}

// noise makes frames that do not compress.
func noise(from time.Time, n int) []frame.Frame {
	list := ticks(from, n)
	x := uint64(88172645463325252)
	for i := range list {
		for k := range list[i].Data {
			x ^= x << 13
			x ^= x >> 7
			x ^= x << 17
			list[i].Data[k] = byte(x)
		}
	}
	return list
}

func TestAFullDiskStopsNothingElse(t *testing.T) {
	c := config(t)
	disk := small(t, "size=1m")
	c.Journal.Dir = filepath.Join(disk, "trials")
	ballast := filepath.Join(disk, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 600<<10), 0o644); err != nil {
		t.Fatal(err)
	}
	src := newMore()
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{src}})
	const more = 12 * waiting
	frames := noise(morning, more)
	src.send(frames)
	until(t, "it is told", func() bool { return d.recorder.status.troubleText() != "" })
	until(t, "frames are given up", func() bool { return d.recorder.status.lost.Load() > 0 })
	if text := d.recorder.status.troubleText(); !strings.Contains(text, "make room") {
		t.Errorf("told: %s", text)
	}
	until(t, "all frames are heard", func() bool { return d.buses.all()[0].frames.Load() == more })
	kept := d.kept()
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount("test", disk, "tmpfs", syscall.MS_REMOUNT, "size=64m"); err != nil {
		t.Fatal(err)
	}
	until(t, "it records again", func() bool { return d.recorder.status.troubleText() == "" && d.kept() > kept })
	late := ticks(morning.Add(time.Hour), 10)
	src.send(late)
	until(t, "all that waited is kept", func() bool {
		return d.kept()+d.recorder.status.lost.Load() == uint64(more+len(late))
	})
	stop()
	got := read(t, trials(t, c)[0].Frames())
	// Each is one that was sent, in order; what is missing was counted.
	if uint64(len(got))+d.recorder.status.lost.Load() != uint64(more+len(late)) {
		t.Errorf("%d kept, %d lost of %d", len(got), d.recorder.status.lost.Load(), more+len(late))
	}
	all, i := append(frames, late...), 0
	for _, f := range got {
		for i < len(all) && all[i] != f {
			i++
		}
		if i == len(all) {
			t.Fatal("a frame that was not sent, or not in order")
		}
		i++
	}
	equal(t, got[len(got)-10:], late)
}

func TestOldTrialsMakeRoomOnlyWhereConfigured(t *testing.T) {
	for _, freeing := range []bool{false, true} {
		c := config(t)
		c.Journal.Dir = filepath.Join(small(t, "size=2m"), "trials")
		c.Journal.KeepFreeMB, c.Journal.FreeOldest = 1000, freeing // a twentieth of this disk: 100 kB
		book, err := logbook.Open(c.Journal.Dir)
		if err != nil {
			t.Fatal(err)
		}
		for range 3 {
			x, err := book.New("", time.Now())
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(x.Dir, "weight"), make([]byte, 650<<10), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		d, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(ticks(morning, 100))}})
		if freeing {
			until(t, "it records", func() bool { return d.kept() == 100 })
		} else {
			until(t, "it is told", func() bool { return strings.Contains(d.recorder.status.troubleText(), "keep_free_mb") })
		}
		stop()
		want := map[bool]int{false: 3, true: 2}[freeing]
		if list := trials(t, c); len(list) != want || list[len(list)-1].Number != 3 {
			t.Errorf("free_oldest %v: trials %+v", freeing, list)
		}
	}
}

func TestAReadOnlyDiskIsToldAndGotOver(t *testing.T) {
	c := config(t)
	disk := small(t, "size=8m")
	c.Journal.Dir = filepath.Join(disk, "trials")
	if err := syscall.Mount("test", disk, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	frames := ticks(morning, 500)
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{newScript(frames)}})
	until(t, "it is told", func() bool { return strings.Contains(d.recorder.status.troubleText(), "mount the disk writable") })
	if err := syscall.Mount("test", disk, "tmpfs", syscall.MS_REMOUNT, "size=8m"); err != nil {
		t.Fatal(err)
	}
	until(t, "it records", func() bool { return d.kept() == 500 })
	stop()
	equal(t, read(t, trials(t, c)[0].Frames()), frames)
	if d.recorder.status.lost.Load() != 0 {
		t.Error("frames are lost though they could wait")
	}
}

func TestASecondLoggerWaitsForTheFirst(t *testing.T) {
	c := config(t)
	one, stopOne := work(t, Options{Config: c, Sources: []frame.Source{newScript(ticks(morning, 10))}})
	until(t, "the first records", func() bool { return one.kept() == 10 })
	two, stopTwo := work(t, Options{Config: c, Sources: []frame.Source{newScript(ticks(morning, 20))}})
	until(t, "the second tells", func() bool {
		return strings.Contains(two.recorder.status.troubleText(), "another process")
	})
	stopOne()
	until(t, "the second records", func() bool { return two.kept() == 30 })
	stopTwo()
}

func TestADeletedTrialIsFollowedByANewOne(t *testing.T) {
	c := config(t)
	src := newMore()
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{src}})
	src.send(ticks(morning, 10))
	until(t, "the first trial", func() bool { return d.kept() == 10 })
	if err := os.Rename(c.Journal.Dir, c.Journal.Dir+"-elsewhere"); err != nil {
		t.Fatal(err)
	}
	until(t, "it is left", func() bool { return d.recorder.status.session.Load() == nil })
	src.send(ticks(morning, 20))
	until(t, "a new trial", func() bool { return d.kept() == 20 })
	stop()
}

func TestAFaultInTheFiguresDoesNotEndRecording(t *testing.T) {
	c := config(t)
	src := newMore()
	failed := make(chan struct{})
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{src},
		Write: func(string, *results.Results, *results.Timeline) error {
			defer close(failed)
			panic("a fault")
		}})
	src.send(ticks(morning, 10))
	until(t, "the first trial", func() bool { return d.kept() == 10 })
	book, err := logbook.Open(c.Journal.Dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := book.Close(time.Now()); err != nil {
		t.Fatal(err)
	}
	<-failed
	d.Write = func(string, *results.Results, *results.Timeline) error { return nil }
	src.send(ticks(morning.Add(time.Hour), 20))
	until(t, "the next trial", func() bool { return d.kept() == 20 })
	stop()
}

// The results so far are those of the frames heard so far, and in time they are
// written without anyone asking; at the end those of all are.
func TestResultsSoFar(t *testing.T) {
	c := config(t)
	src := newMore()
	var frames []int64
	d, stop := work(t, Options{Config: c, Sources: []frame.Source{src},
		Write: func(_ string, r *results.Results, _ *results.Timeline) error {
			frames = append(frames, r.Quality.Frames)
			return nil
		}})
	src.send(ticks(morning, 100))
	until(t, "the frames are kept", func() bool { return d.kept() == 100 })
	s := d.recorder.status.session.Load()
	in, err := journal.Open(s.trial.Frames())
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	live := day.New(c, "test", in.Buses)
	d.refresh(s, live, in, time.Hour)() // is not due
	for range 60 {
		var f frame.Frame
		if err := in.Next(&f); err != nil {
			t.Fatal(err)
		}
		live.Frame(&f)
	}
	d.refresh(s, live, in, 0)()
	stop()
	if !slices.Equal(frames, []int64{60, 100}) {
		t.Errorf("results of %v frames, want those of 60 and at the end of 100", frames)
	}
}
