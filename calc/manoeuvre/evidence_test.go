package manoeuvre

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"math"
	"reflect"
	"testing"
	"unsafe"
)

// fill gives every field, exported or not, a value of its own.
func fill(v reflect.Value, next *int) {
	*next++
	v = reflect.NewAt(v.Type(), unsafe.Pointer(v.UnsafeAddr())).Elem()
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i), next)
		}
	case reflect.Array:
		for i := range v.Len() {
			fill(v.Index(i), next)
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			fill(v.Index(i), next)
		}
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int8, reflect.Int64:
		v.SetInt(int64(*next % 100))
	case reflect.Uint8:
		v.SetUint(uint64(*next % 100))
	case reflect.Float64:
		v.SetFloat(float64(*next) + 0.25)
	case reflect.Complex128:
		v.SetComplex(complex(float64(*next), -float64(*next)))
	default:
		panic(v.Kind())
	}
}

func kept(t *testing.T, e *Evidence) *Evidence {
	t.Helper()
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(e); err != nil {
		t.Fatal(err)
	}
	out := new(Evidence)
	if err := gob.NewDecoder(&b).Decode(out); err != nil {
		t.Fatal(err)
	}
	return out
}

// Nothing of evidence is lost when it is kept, whatever fields are added to it.
// What Derive fills in itself is not part of it.
func TestAllOfTheEvidenceIsKept(t *testing.T) {
	var e Evidence
	n := 0
	fill(reflect.ValueOf(&e).Elem(), &n)
	r := &e.found
	r.Accelerations, r.Together, r.Stops, r.Slow = nil, nil, nil, nil
	if got := kept(t, &e); !reflect.DeepEqual(got, &e) {
		t.Errorf("kept\n%+v\nof\n%+v", got, &e)
	}
}

// What is not heard stays so: NaN comes back, and the figures are equal.
func TestKeptEvidenceGivesEqualFigures(t *testing.T) {
	h := newHelm(Settings{Marks: []Mark{{Speed: 5}, {Speed: 10}}, Length: 13, Mass: math.NaN()}, 1)
	h.run(20, nil)
	h.shift(forward)
	h.run(43, func(s float64) {
		if s -= 3; s > 0 {
			h.ahead, h.rpm[0] = 15*(1-math.Exp(-s/7)), 11+30*(1-math.Exp(-s))
		}
	})
	h.w.Close()
	e := h.w.Evidence()
	if len(e.starts) == 0 {
		t.Fatal("no start was found")
	}
	want := fmt.Sprintf("%+v", e.Derive(h.w.set, noCurrent))
	for range 2 {
		if got := fmt.Sprintf("%+v", kept(t, e).Derive(h.w.set, noCurrent)); got != want {
			t.Errorf("figures\n%s\nwant\n%s", got, want)
		}
	}
}
