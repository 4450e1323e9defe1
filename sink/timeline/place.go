package timeline

import "math"

// place is a position in units of 1e-7 degrees, as PGN 129025 has it.
type place struct{ lat, lon int32 }

const perDegree = 1e7

// nowhere stands where there was no position.
var nowhere = place{math.MinInt32, math.MinInt32}

// placeOf takes degrees.
func placeOf(lat, lon float64) place {
	if !(math.Abs(lat) <= 90 && math.Abs(lon) <= 180) {
		return nowhere
	}
	return place{int32(math.Round(lat * perDegree)), int32(math.Round(lon * perDegree))}
}

// degrees returns NaN for nowhere.
func (p place) degrees() (lat, lon float64) {
	if p == nowhere {
		return math.NaN(), math.NaN()
	}
	return float64(p.lat) / perDegree, float64(p.lon) / perDegree
}

// putPlace puts a place into cell i, which is the last or the next. The last
// known one of a cell counts.
func putPlace(list []place, i int, p place) []place {
	if i == len(list) {
		return append(list, p)
	}
	if p != nowhere {
		list[i] = p
	}
	return list
}
