package timeline

import (
	"math"
	"sort"
)

// date is UTC, ns since 1970, at the beginning of a second of the day. Between
// two dates it runs in a straight line.
type date struct {
	second int
	utc    int64
}

const (
	// dateEvery is the longest stretch, s, between two dates. UTC is a line,
	// or several where the length of a pause was guessed.
	dateEvery = 256
	// dateError, ns, is how far the straight line may be off.
	dateError = int64(1e6)
)

// dated finds dates such that straight lines between them follow utc over the
// first n seconds.
func dated(n int, utc func(second int) int64) []date {
	list := []date{{0, utc(0)}}
	for from := 0; from < n; from += dateEvery {
		to := min(from+dateEvery, n)
		list = split(list, date{to, utc(to)}, utc)
	}
	return list
}

// split appends to, and before it what lies between the last date and it where
// utc is no straight line.
func split(list []date, to date, utc func(int) int64) []date {
	from := list[len(list)-1]
	mid := from.second + (to.second-from.second)/2
	if mid == from.second {
		return append(list, to)
	}
	half := date{mid, utc(mid)}
	if off := half.utc - between(from, to, float64(mid)); -dateError <= off && off <= dateError {
		return append(list, to)
	}
	return split(split(list, half, utc), to, utc)
}

func between(a, b date, second float64) int64 {
	x := (second - float64(a.second)) / float64(b.second-a.second)
	return a.utc + int64(math.Round(x*float64(b.utc-a.utc)))
}

// unix is UTC, s since 1970 in whole milliseconds, at a second of the day.
func unix(list []date, second int) float64 {
	if len(list) < 2 {
		return math.NaN()
	}
	i := sort.Search(len(list)-2, func(i int) bool { return list[i+1].second > second })
	return math.Round(float64(between(list[i], list[i+1], float64(second)))/1e6) / 1e3
}

// secondAt is the second of the day that a time lies in; below 0 or beyond the
// last where it is not of the day.
func secondAt(list []date, unix float64) int {
	utc := unix * 1e9
	n := len(list)
	switch {
	case n < 2 || !(utc >= float64(list[0].utc)):
		return -1
	case utc >= float64(list[n-1].utc):
		return list[n-1].second
	}
	i := sort.Search(n-2, func(i int) bool { return float64(list[i+1].utc) > utc })
	a, b := list[i], list[i+1]
	if b.utc == a.utc {
		return a.second
	}
	return a.second + int(float64(b.second-a.second)*(utc-float64(a.utc))/float64(b.utc-a.utc))
}
