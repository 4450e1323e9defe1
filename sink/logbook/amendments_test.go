package logbook

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"
)

func exclusion() Amendment {
	from, to := 10.0, 70.0
	return Amendment{Name: "a captain", Reason: "wash of a ferry", Action: Exclude,
		Windows: []Span{{Start: "2031-05-04T08:00:00.000Z", End: "2031-05-04T08:01:00.000Z", FromS: &from, ToS: &to}}}
}

func amended(t *testing.T, x *Trial, a Amendment) Amendment {
	t.Helper()
	kept, err := x.Amend(a, day)
	if err != nil {
		t.Fatal(err)
	}
	return kept
}

func TestAmendmentsComeBack(t *testing.T) {
	x := Trial{Dir: t.TempDir()}
	if list, faults, err := x.Amendments(); list != nil || faults != nil || err != nil {
		t.Fatalf("%v, %v, %v", list, faults, err)
	}
	merge := exclusion()
	merge.Action, merge.Windows = Merge, append(merge.Windows, Span{Start: "2031-05-04T09:00:00Z", End: "2031-05-04T09:01:00Z"})
	want := []Amendment{
		amended(t, &x, exclusion()),
		amended(t, &x, merge),
		amended(t, &x, Amendment{Name: " two\nlines ", Reason: "a\tmistake", Action: Withdraw, Withdraws: 1}),
	}
	if want[2].ID != 3 || want[2].Name != "two lines" || want[2].Reason != "a mistake" || want[0].Time != "2031-05-04T07:30:00.000Z" {
		t.Errorf("%+v", want[2])
	}
	got, faults, err := x.Amendments()
	if err != nil || len(faults) > 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v; %v, %v", got, want, faults, err)
	}
}

func TestAmendmentsThatAreRefused(t *testing.T) {
	x := Trial{Dir: t.TempDir()}
	amended(t, &x, exclusion())
	for why, spoil := range map[string]func(*Amendment){
		"name is missing":       func(a *Amendment) { a.Name = " \x00 " },
		"name has 101":          func(a *Amendment) { a.Name = strings.Repeat("n", maxName+1) },
		"reason is missing":     func(a *Amendment) { a.Reason = "" },
		"reason has 501":        func(a *Amendment) { a.Reason = strings.Repeat("n", maxAmendText+1) },
		"not text in UTF-8":     func(a *Amendment) { a.Reason = "\xff" },
		"that are not shown":    func(a *Amendment) { a.Name = "a\u202eb" },
		"is not exclude, merge": func(a *Amendment) { a.Action = "delete" },
		"names 0 windows":       func(a *Amendment) { a.Windows = nil },
		"merge takes 2":         func(a *Amendment) { a.Action = Merge },
		"names 101 windows": func(a *Amendment) {
			for range maxSpans {
				a.Windows = append(a.Windows, a.Windows[0])
			}
		},
		"and no windows":         func(a *Amendment) { a.Action, a.Withdraws = Withdraw, 1 },
		"no amendment 9":         func(a *Amendment) { a.Action, a.Windows, a.Withdraws, a.ID = Withdraw, nil, 9, 99 },
		"takes an amendment":     func(a *Amendment) { a.Withdraws = 1 },
		"ends before it starts":  func(a *Amendment) { a.Windows[0].End = a.Windows[0].Start },
		"start \"\" of a window": func(a *Amendment) { a.Windows[0].Start = "" },
		"end \"9:00\" of":        func(a *Amendment) { a.Windows[0].End = "9:00" },
	} {
		a := exclusion()
		spoil(&a)
		_, err := x.Amend(a, day)
		if _, ok := errors.AsType[Refused](err); !ok || (!strings.Contains(err.Error(), why) && why != "no amendment 9") {
			t.Errorf("%q: %v", why, err)
		}
	}
	if list, faults, _ := x.Amendments(); len(list) != 1 || len(faults) > 0 {
		t.Errorf("%d amendments, %v", len(list), faults)
	}
}

// A power cut can leave any part of the last line. Those before stay, and the
// next is not joined to it.
func TestAmendmentsSurviveACutLine(t *testing.T) {
	x := Trial{Dir: t.TempDir()}
	path := filepath.Join(x.Dir, amendmentsFile)
	amended(t, &x, exclusion())
	first, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	amended(t, &x, exclusion())
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for n := len(first) + 1; n < len(whole); n += 7 {
		if err := os.WriteFile(path, whole[:n], 0o644); err != nil {
			t.Fatal(err)
		}
		list, faults, err := x.Amendments()
		if err != nil || len(list) != 1 || len(faults) != 1 || !strings.Contains(faults[0], "line 2 of amendments.jsonl is cut off") {
			t.Fatalf("cut at %d: %d amendments, %v, %v", n, len(list), faults, err)
		}
		if a := amended(t, &x, exclusion()); a.ID != 2 {
			t.Fatalf("id %d", a.ID)
		}
		if list, faults, _ := x.Amendments(); len(list) != 2 || len(faults) != 0 {
			t.Fatalf("cut at %d, then added to: %d amendments, %v", n, len(list), faults)
		}
	}
}

func TestDamagedAmendmentsAreToldAndTheRestCounts(t *testing.T) {
	x := Trial{Dir: t.TempDir()}
	path := filepath.Join(x.Dir, amendmentsFile)
	for range 4 {
		amended(t, &x, exclusion())
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lines := bytes.SplitAfter(text, []byte("\n"))
	damaged := bytes.Join([][]byte{lines[0], []byte("{\n"), lines[1], lines[1], bytes.Replace(lines[2], []byte(Exclude), []byte("devour"), 1), lines[3]}, nil)
	if err := os.WriteFile(path, damaged, 0o644); err != nil {
		t.Fatal(err)
	}
	list, faults, err := x.Amendments()
	if err != nil || len(list) != 3 || len(faults) != 3 {
		t.Errorf("%d amendments, %q, %v", len(list), faults, err)
	}
	if a := amended(t, &x, exclusion()); a.ID != 5 {
		t.Errorf("id %d", a.ID)
	}
}

func TestManyAmendAtOnce(t *testing.T) {
	x := Trial{Dir: t.TempDir()}
	var all sync.WaitGroup
	for range 20 {
		all.Go(func() {
			if _, err := x.Amend(exclusion(), day); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	list, faults, err := x.Amendments()
	if err != nil || len(faults) > 0 || len(list) != 20 {
		t.Fatalf("%d amendments, %v, %v", len(list), faults, err)
	}
	for i, a := range list {
		if a.ID != i+1 {
			t.Errorf("id %d in line %d", a.ID, i+1)
		}
	}
}

func TestAmendmentsAreBounded(t *testing.T) {
	x := Trial{Dir: t.TempDir()}
	path := filepath.Join(x.Dir, amendmentsFile)
	var text bytes.Buffer
	a := exclusion()
	a.Time = stamp(day)
	for a.ID = 1; a.ID <= maxAmendments+1; a.ID++ {
		if err := json.NewEncoder(&text).Encode(&a); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(path, text.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	if list, faults, err := x.Amendments(); err != nil || len(list) != maxAmendments || len(faults) != 1 {
		t.Errorf("%d amendments, %v, %v", len(list), faults, err)
	}
	if _, err := x.Amend(exclusion(), day); err == nil {
		t.Error("one more was taken")
	}
	if err := os.WriteFile(path, make([]byte, maxAmendFile+1), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, _, err := x.Amendments(); err == nil {
		t.Error("a file without end was read")
	}
}

func FuzzAmendments(f *testing.F) {
	a := exclusion()
	a.ID, a.Time = 1, stamp(day)
	text, err := json.Marshal(&a)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(append(text, '\n'))
	f.Add(append(append(text, '\n'), text[:40]...))
	f.Add([]byte("{}\n\n[]\nnull\n{\"id\":-1}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p := parseAmendments(text, "file")
		last := 0
		for i := range p.list {
			a := &p.list[i]
			if a.ID <= last || a.check() != nil {
				t.Fatalf("%+v was taken", a)
			}
			if _, err := time.Parse(time.RFC3339, a.Time); err != nil {
				t.Fatal(err)
			}
			last = a.ID
		}
		if p.whole > int64(len(text)) || p.last < last || p.whole < int64(len(text)) && len(p.faults) == 0 {
			t.Fatalf("%+v of %q", p, text)
		}
		// What was taken is taken again.
		var again bytes.Buffer
		for i := range p.list {
			if err := json.NewEncoder(&again).Encode(&p.list[i]); err != nil {
				t.Fatal(err)
			}
		}
		q := parseAmendments(again.Bytes(), "file")
		if len(q.faults) > 0 || !reflect.DeepEqual(p.list, q.list) {
			t.Fatalf("%+v\n%+v\n%q", p.list, q.list, q.faults)
		}
	})
}
