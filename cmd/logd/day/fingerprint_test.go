package day

import (
	"crypto/sha256"
	"encoding/hex"
	"testing"

	"go.einride.tech/can"

	"trialday.example/logd/decode/frame"
)

func hashOf(buses []string, frames ...frame.Frame) string {
	p := newFingerprint(func() []string { return buses })
	for i := range frames {
		p.add(&frames[i])
	}
	return p.sum()
}

// The layout is published, so it is written out here by hand.
func TestFingerprintIsOfThePublishedLayout(t *testing.T) {
	frames := []frame.Frame{
		{Time: 0x0102030405060708, Frame: can.Frame{ID: 0x09F80123, IsExtended: true, Length: 8, Data: can.Data{1, 2, 3, 4, 5, 6, 7, 8}}},
		{Time: 1, Bus: 1, Frame: can.Frame{ID: 0x7FF, Length: 2, Data: can.Data{0xA, 0xB, 0xFF}}}, // what is beyond the length does not count
		{Time: 2, Frame: can.Frame{ID: 0x0A, IsExtended: true, IsRemote: true, Length: 3, Data: can.Data{9}}},
		{Time: 3, IsError: true, Frame: can.Frame{ID: 0x20, Length: 8, Data: can.Data{0, 0x40}}},
		{Time: 4, Bus: 7, Frame: can.Frame{ID: 1}}, // a bus without a name
	}
	raw, err := hex.DecodeString("0102030405060708" + "89F80123" + "08" + "0102030405060708" + "63616E3000" +
		"0000000000000001" + "000007FF" + "02" + "0A0B000000000000" + "63616E3100" +
		"0000000000000002" + "C000000A" + "03" + "0000000000000000" + "63616E3000" +
		"0000000000000003" + "20000020" + "08" + "0040000000000000" + "63616E3000" +
		"0000000000000004" + "00000001" + "00" + "0000000000000000" + "00")
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(raw)
	if got := hashOf([]string{"can0", "can1"}, frames...); got != hex.EncodeToString(sum[:]) {
		t.Errorf("hash %s, want %x", got, sum)
	}
}

// Every part of a frame counts, and so does the order, over the pieces that
// are hashed at a time.
func TestFingerprintTellsDaysApart(t *testing.T) {
	day := func(change func(f []frame.Frame)) string {
		frames := make([]frame.Frame, 12000) // over two pieces
		for i := range frames {
			frames[i] = frame.Frame{Time: int64(i), Frame: can.Frame{ID: uint32(i), IsExtended: true, Length: 8}}
		}
		change(frames)
		return hashOf([]string{"can0", "can1"}, frames...)
	}
	plain := day(func([]frame.Frame) {})
	if plain != day(func([]frame.Frame) {}) {
		t.Error("the same frames have two hashes")
	}
	seen := map[string]string{plain: "nothing"}
	for what, change := range map[string]func(f []frame.Frame){
		"time":   func(f []frame.Frame) { f[1999].Time++ },
		"bus":    func(f []frame.Frame) { f[0].Bus = 1 },
		"id":     func(f []frame.Frame) { f[1000].ID++ },
		"length": func(f []frame.Frame) { f[1000].Length-- },
		"data":   func(f []frame.Frame) { f[1000].Data[7]++ },
		"remote": func(f []frame.Frame) { f[1000].IsRemote = true },
		"order":  func(f []frame.Frame) { f[700], f[701] = f[701], f[700] },
		"kind":   func(f []frame.Frame) { f[1000].IsExtended = false },
	} {
		got := day(change)
		if other, ok := seen[got]; ok {
			t.Errorf("a change of %s has the hash of a change of %s", what, other)
		}
		seen[got] = what
	}
}
