package vmtest

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"testing"

	"trialday.example/logd/cmd/logd/simulate"
	"trialday.example/logd/configs/scenarios"
	"trialday.example/logd/decode/capture"
	"trialday.example/logd/decode/frame"
)

// fullLoad is what a bus of 250 kbit/s carries at most, in frames per second: a
// frame of 29-bit identifier and 8 bytes has 131 bits with its pause (ISO
// 11898-1) and, with the stuff bits of ordinary data, about 139.
const fullLoad = 1800

// start is the time of the first frame of made traffic; canplayer needs only
// the differences.
const start = 1_900_000_000

// realTraffic is a log of frames from a simulated day, cut short and set to
// full load on each bus. Frames and their order are those of a boat; only the
// pace is not.
func realTraffic(t *testing.T, buses []string, seconds int) []byte {
	t.Helper()
	text, err := scenarios.Load("demo-triple")
	if err != nil {
		t.Fatal(err)
	}
	s, err := simulate.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	day := s.Start(1)
	var out []byte
	var f frame.Frame
	for n := range seconds * fullLoad {
		if err := day.Next(&f); errors.Is(err, io.EOF) {
			day = s.Start(1)
			err = day.Next(&f)
			if err != nil {
				t.Fatal(err)
			}
		} else if err != nil {
			t.Fatal(err)
		}
		f.Time = (start*1e6 + int64(n)*1e6/fullLoad) * 1e3 // canplayer takes microseconds
		for _, bus := range buses {
			out = append(capture.AppendLine(out, &f, bus), '\n')
		}
	}
	return out
}

// Numbered traffic: every frame says which it is, so that a lost, repeated or
// altered one shows.

// markerEvery sets how many frames come between two that the witness sees:
// 50 a second at full load.
const markerEvery = fullLoad / 50

// numbered is frame n of a round as a log shows it. Markers have an identifier
// of their own; all are of the proprietary single-frame range.
func numbered(round, n int) string {
	id := 0x18FF0005 + uint32(n*7%40)<<8
	if n%markerEvery == 0 {
		id = markerID
	}
	sum := byte(round*31 + n*17 + n>>8)
	return fmt.Sprintf("%08X#%04X%08X%02X%02X", id, round, n, sum, ^sum)
}

const markerID = 0x18FFFF05

// numberOf returns the round and number a frame claims; ok is false for a
// frame that numbered never makes.
func numberOf(text string) (round, n int, ok bool) {
	if len(text) != 8+1+16 {
		return 0, 0, false
	}
	r, err1 := strconv.ParseUint(text[9:13], 16, 16)
	k, err2 := strconv.ParseUint(text[13:21], 16, 32)
	if err1 != nil || err2 != nil || numbered(int(r), int(k)) != text {
		return 0, 0, false
	}
	return int(r), int(k), true
}

// numberedTraffic is a log of a round of numbered frames at full load.
func numberedTraffic(bus string, round, seconds int) []byte {
	var b bytes.Buffer
	for n := range seconds * fullLoad {
		at := int64(n) * 1e6 / fullLoad
		fmt.Fprintf(&b, "(%d.%06d) %s %s\n", start+at/1e6, at%1e6, bus, numbered(round, n))
	}
	return b.Bytes()
}

// line is one frame of a log.
type line struct {
	micros int64 // since 1970
	bus    string
	frame  string // identifier#data
}

// readLog reads a can-utils log; a last line cut short is left out.
func readLog(t *testing.T, name string) []line {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	text = text[:bytes.LastIndexByte(text, '\n')+1]
	var log []line
	for s := bufio.NewScanner(bytes.NewReader(text)); s.Scan(); {
		field := strings.Fields(s.Text())
		if len(field) < 3 {
			t.Fatalf("%s: not a log line: %q", name, s.Text())
		}
		seconds, fraction, _ := strings.Cut(strings.Trim(field[0], "()"), ".")
		at, err := strconv.ParseInt(seconds+(fraction + "000000")[:6], 10, 64)
		if err != nil {
			t.Fatalf("%s: %q: %v", name, s.Text(), err)
		}
		log = append(log, line{at, field[1], strings.ToUpper(field[2])})
	}
	return log
}

// on returns the lines of one bus.
func on(bus string, log []line) []line {
	var out []line
	for _, l := range log {
		if l.bus == bus {
			out = append(out, l)
		}
	}
	return out
}
