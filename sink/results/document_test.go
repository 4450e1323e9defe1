package results

import (
	"bytes"
	"encoding/json"
	"math/rand"
	"reflect"
	"testing"
	"testing/quick"
)

// What is written piece by piece is what encoding/json writes of the whole, whatever
// is in it.
func TestJSONIsThatOfTheLibrary(t *testing.T) {
	r := rand.New(rand.NewSource(4))
	list := []Results{{}}
	for range 30 {
		v, ok := quick.Value(reflect.TypeFor[Results](), r)
		if !ok {
			t.Fatal("no value")
		}
		list = append(list, v.Interface().(Results))
	}
	for i := range list {
		rounded, err := list[i].Rounded()
		if err != nil {
			t.Fatal(err)
		}
		var got, want bytes.Buffer
		enc := json.NewEncoder(&want)
		enc.SetIndent("", "  ")
		enc.SetEscapeHTML(false)
		if err := enc.Encode(rounded); err != nil {
			t.Fatal(err)
		}
		if err := list[i].WriteJSON(&got); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got.Bytes(), want.Bytes()) {
			at := 0
			for at < min(got.Len(), want.Len()) && got.Bytes()[at] == want.Bytes()[at] {
				at++
			}
			t.Fatalf("value %d: after %q comes %.60q, want %.60q", i, got.Bytes()[max(0, at-60):at], got.Bytes()[at:], want.Bytes()[at:])
		}
	}
}
