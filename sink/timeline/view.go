package timeline

import (
	"encoding/json"
	"math"
	"strconv"
)

// View is a stretch of the day thinned for drawing: Time[i] is the start of a
// cell of StepS seconds, in s since 1970 UTC, and each channel gives what was
// measured in it. All slices have one length.
type View struct {
	StepS    float64            `json:"step_s"`
	Time     Values             `json:"time"`
	Channels map[string]Channel `json:"channels"`
}

// Channel is a quantity by cell, NaN (null in JSON) where none was heard. The
// unit stands in its key in View. A direction has a mean only.
type Channel struct {
	Min  Values `json:"min,omitempty"`
	Max  Values `json:"max,omitempty"`
	Mean Values `json:"mean"`
}

// Track is the way of the boat over ground: one entry a point, all slices of
// one length.
type Track struct {
	Time   Values `json:"time"` // s since 1970 UTC
	LatDeg Values `json:"lat_deg"`
	LonDeg Values `json:"lon_deg"`
	SOGKn  Values `json:"sog_kn"`
}

// Values are numbers of which some may be missing: NaN, null in JSON.
type Values []float64

// MarshalJSON writes the shortest decimal of each value.
func (v Values) MarshalJSON() ([]byte, error) {
	out := make([]byte, 0, 2+8*len(v))
	out = append(out, '[')
	for i, x := range v {
		if i > 0 {
			out = append(out, ',')
		}
		if math.IsNaN(x) || math.IsInf(x, 0) {
			out = append(out, "null"...)
			continue
		}
		out = strconv.AppendFloat(out, x, 'f', -1, 64)
	}
	return append(out, ']'), nil
}

// UnmarshalJSON reads a null as NaN.
func (v *Values) UnmarshalJSON(text []byte) error {
	var list []*float64
	if err := json.Unmarshal(text, &list); err != nil {
		return err
	}
	*v = make(Values, len(list))
	for i, x := range list {
		(*v)[i] = math.NaN()
		if x != nil {
			(*v)[i] = *x
		}
	}
	return nil
}
