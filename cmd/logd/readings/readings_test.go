package readings

import (
	"math"
	"strings"
	"testing"
	"time"
)

func TestParse(t *testing.T) {
	const text = "\ufeffTime, rpm,sound_dba,sea_state,comment\r\n" +
		"2031-05-14T10:12:30.5+01:00,,84.5,2,\"helm, door shut\"\r\n" +
		"\r\n" +
		",2400,86,,\r\n" +
		"2031-05-14T09:20:00Z,3000,,,spray\r\n"
	got, err := Parse(strings.NewReader(text), "notes.csv")
	if err != nil || len(got) != 3 {
		t.Fatalf("%d readings, %v", len(got), err)
	}
	at := time.Date(2031, 5, 14, 9, 12, 30, 5e8, time.UTC)
	if r := got[0]; r.Line != 2 || !r.Timed || r.Time != at.UnixNano() || !math.IsNaN(r.RPM) || r.Sound != 84.5 || r.SeaState != 2 || r.Comment != "helm, door shut" {
		t.Errorf("first: %+v", r)
	}
	if r := got[1]; r.Line != 4 || r.Timed || r.RPM != 40 || r.Sound != 86 || !math.IsNaN(r.SeaState) {
		t.Errorf("second: %+v", r)
	}
	if r := got[2]; !r.Timed || r.RPM != 50 || !math.IsNaN(r.Sound) || r.Comment != "spray" {
		t.Errorf("third: %+v", r)
	}
}

// Every fault names the file, the line, what is wrong and what would be right.
func TestFaultsNamePlaceAndRemedy(t *testing.T) {
	for _, c := range []struct{ text, at, remedy string }{
		{"", "notes.csv: empty", "time,rpm,sound_dba"},
		{"time,sound\n", `notes.csv:1: unknown column "sound"`, "sound_dba"},
		{"rpm,rpm\n", "notes.csv:1: column rpm is there twice", "keep one"},
		{"sound_dba\n80\n", "notes.csv:1: neither a column time nor rpm", "one of them"},
		{"rpm,sound_dba\n", "notes.csv: no readings", "add them"},
		{"rpm,sound_dba\n2400,loud\n", `notes.csv:2: sound_dba "loud" is no number`, "84.5"},
		{"rpm,sound_dba\n2400,80\n2400,8000\n", "notes.csv:3: sound_dba 8000", "20 to 140"},
		{"rpm,sound_dba\n2400,NaN\n", "notes.csv:2: sound_dba NaN", "20 to 140"},
		{"rpm,sea_state\n2400,2.5\n", "notes.csv:2: sea_state 2.5 is not whole", "0 to 9"},
		{"time,sound_dba\n09:12,80\n", `notes.csv:2: time "09:12"`, "2031-05-14T09:12:30Z"},
		{"time,sound_dba\n2031-05-14T09:12:30,80\n", "notes.csv:2: time", "with a zone"},
		{"time,sound_dba\n0131-05-14T09:12:30Z,80\n", "notes.csv:2: time", "check the date"},
		{"time,rpm,sound_dba\n,,80\n", "notes.csv:2: neither time nor rpm", "one of them"},
		{"rpm,sound_dba\n2400,\n", "notes.csv:2: no sound_dba", "leave the line out"},
		{"rpm,comment\n2400,a,b\n", "notes.csv:2: 3 cells under 2 columns", "double quotes"},
		{"rpm,comment\n2400,\"a\n", "notes.csv:", "double quotes"},
	} {
		got, err := Parse(strings.NewReader(c.text), "notes.csv")
		if err == nil || got != nil || !strings.Contains(err.Error(), c.at) || !strings.Contains(err.Error(), c.remedy) {
			t.Errorf("%q gives %v, %v", c.text, got, err)
		}
	}
	_, err := Parse(strings.NewReader("rpm,sound_dba\nfast,80\n2400,x\n"), "notes.csv")
	if lines := strings.Split(err.Error(), "\n"); len(lines) != 2 {
		t.Errorf("want both faults: %v", err)
	}
	if _, err := ReadFile("none.csv"); err == nil || !strings.Contains(err.Error(), "none.csv") {
		t.Errorf("a file that is not there: %v", err)
	}
}

// FuzzParse: whatever the file holds, there are readings that can be joined, or
// an error that names the file.
func FuzzParse(f *testing.F) {
	f.Add("time,rpm,sound_dba,sea_state,comment\n2031-05-14T09:12:30Z,2400,84.5,2,x\n")
	f.Add("rpm,comment\n1e3,\"\"\"\"\n")
	f.Add("\ufefftime\n\n")
	f.Add("rpm,sound_dba\n0x1p4,inf\n")
	f.Fuzz(func(t *testing.T, text string) {
		got, err := Parse(strings.NewReader(text), "notes.csv")
		if err != nil {
			for line := range strings.Lines(err.Error()) {
				if !strings.HasPrefix(line, "notes.csv") {
					t.Errorf("a line does not name the file: %q", line)
				}
			}
			return
		}
		for _, r := range got {
			if !r.Timed && math.IsNaN(r.RPM) || r.Line < 2 || math.IsInf(r.RPM+r.Sound+r.SeaState, 0) {
				t.Errorf("%q gives %+v", text, r)
			}
		}
	})
}
