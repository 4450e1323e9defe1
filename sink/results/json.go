package results

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
)

// Rounded returns r as ReadJSON gives it back after WriteJSON, and its errors.
func (r *Results) Rounded() (*Results, error) {
	tidied, err := tidy(reflect.ValueOf(*r), "")
	if err != nil {
		return nil, fmt.Errorf("results: %w", err)
	}
	out := tidied.Interface().(Results)
	return &out, nil
}

// ReadJSON reads what WriteJSON wrote. Keys that it does not know are passed
// over, as a later program may add some; another schema is an error.
func ReadJSON(rd io.Reader) (*Results, error) {
	var r Results
	if err := json.NewDecoder(rd).Decode(&r); err != nil {
		return nil, fmt.Errorf("results: %w", err)
	}
	if r.Schema != Schema {
		return nil, fmt.Errorf("results: schema %q: this program reads %q", r.Schema, Schema)
	}
	return &r, nil
}

// MarshalJSON writes a bound that is not known as null.
func (i Interval) MarshalJSON() ([]byte, error) {
	return json.Marshal(openInterval{finite(i.Mean), finite(i.Lo95), finite(i.Hi95)})
}

// UnmarshalJSON reads a null bound as NaN.
func (i *Interval) UnmarshalJSON(text []byte) error {
	var o openInterval
	if err := json.Unmarshal(text, &o); err != nil {
		return err
	}
	*i = Interval{orNaN(o.Mean), orNaN(o.Lo95), orNaN(o.Hi95)}
	return nil
}

type openInterval struct {
	Mean *float64 `json:"mean"`
	Lo95 *float64 `json:"lo95"`
	Hi95 *float64 `json:"hi95"`
}

func finite(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func orNaN(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

// tidy returns a deep copy of v with rounded numbers and without nil lists and
// tables. Path names v in errors.
func tidy(v reflect.Value, path string) (reflect.Value, error) {
	out := reflect.New(v.Type()).Elem()
	var err error
	switch v.Kind() {
	case reflect.Float64:
		if finite(v.Float()) == nil {
			return out, fmt.Errorf("%s is %v", path, v.Float())
		}
		out.SetFloat(round(v.Float()))
	case reflect.Pointer:
		err = tidyPointer(v, out, path)
	case reflect.Struct:
		err = tidyStruct(v, out, path)
	case reflect.Slice:
		out.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
		for i := range v.Len() {
			if err = tidyInto(out.Index(i), v.Index(i), fmt.Sprintf("%s[%d]", path, i)); err != nil {
				break
			}
		}
	case reflect.Map:
		err = tidyMap(v, out, path)
	default:
		out.Set(v)
	}
	return out, err
}

func tidyInto(dst, src reflect.Value, path string) error {
	t, err := tidy(src, path)
	dst.Set(t)
	return err
}

// tidyPointer turns an optional figure that is no number into null.
func tidyPointer(v, out reflect.Value, path string) error {
	if v.IsNil() {
		return nil
	}
	switch p := v.Interface().(type) {
	case *float64:
		if finite(*p) == nil {
			return nil
		}
	case *Interval:
		if finite(p.Mean) == nil {
			return nil
		}
	}
	out.Set(reflect.New(v.Type().Elem()))
	return tidyInto(out.Elem(), v.Elem(), path)
}

func tidyStruct(v, out reflect.Value, path string) error {
	if i, ok := v.Interface().(Interval); ok {
		if finite(i.Mean) == nil {
			return fmt.Errorf("%s.mean is %v", path, i.Mean)
		}
		out.Set(reflect.ValueOf(Interval{round(i.Mean), round(i.Lo95), round(i.Hi95)}))
		return nil
	}
	for i := range v.NumField() {
		key := v.Type().Field(i).Tag.Get("json")
		if path != "" {
			key = path + "." + key
		}
		if err := tidyInto(out.Field(i), v.Field(i), key); err != nil {
			return err
		}
	}
	return nil
}

func tidyMap(v, out reflect.Value, path string) error {
	out.Set(reflect.MakeMap(v.Type()))
	for _, k := range v.MapKeys() {
		item, err := tidy(v.MapIndex(k), fmt.Sprintf("%s.%v", path, k))
		if err != nil {
			return err
		}
		out.SetMapIndex(k, item)
	}
	return nil
}

// round gives six significant digits, but no fewer than three decimals: a clock
// offset of years still needs its milliseconds.
func round(x float64) float64 {
	if x == 0 || finite(x) == nil {
		return x
	}
	decimals := 5 - int(math.Floor(math.Log10(math.Abs(x))))
	text := strconv.FormatFloat(x, 'f', max(decimals, 3), 64)
	y, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return x
	}
	return y + 0 // no negative zero
}
