package sheet

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"

	"trialday.example/logd/sink/results"
)

// missing stands wherever there is no value. It is never 0.
const missing = "—"

// fixed renders x with so many decimals; not-a-number is missing.
func fixed(x float64, decimals int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return missing
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.HasPrefix(s, "-") && strings.Trim(s, "-0.") == "" {
		s = s[1:] // no minus zero
	}
	return strings.Replace(s, "-", "−", 1)
}

func optional(x *float64, decimals int) string {
	if x == nil {
		return missing
	}
	return fixed(*x, decimals)
}

// bearing renders degrees as the trade writes them, 005°.
func bearing(deg *float64) string {
	if deg == nil || math.IsNaN(*deg) {
		return missing
	}
	return fmt.Sprintf("%03.0f°", math.Mod(math.Round(*deg)+720, 360))
}

// figure is a value with half of its 95 % interval; either may be "".
type figure struct {
	Value, PM string
}

// interval renders i.
func interval(i *results.Interval, decimals int) figure {
	if i == nil || math.IsNaN(i.Mean) {
		return figure{Value: missing}
	}
	f := figure{Value: fixed(i.Mean, decimals)}
	if half, ok := halfWidth(i); ok {
		f.PM = plusMinus(half, decimals)
	}
	return f
}

func plusMinus(half float64, decimals int) string {
	return "±\u00a0" + fixed(half, halfDecimals(half, decimals))
}

// halfWidth is half of the interval; where the bounds are not alike the wider
// side counts. Not ok where it is not known.
func halfWidth(i *results.Interval) (half float64, ok bool) {
	if i == nil {
		return 0, false
	}
	half = math.Max(i.Hi95-i.Mean, i.Mean-i.Lo95)
	return half, !math.IsNaN(half) && !math.IsInf(half, 0)
}

// halfDecimals keeps a small half width from being shown as none at all.
func halfDecimals(half float64, decimals int) int {
	for decimals < 6 && half > 0 && half < 0.5*math.Pow10(-decimals) {
		decimals++
	}
	return decimals
}

// decimalsFor gives the smallest of the values three significant digits, so
// that a column has one number of decimals, 1 to 4.
func decimalsFor(values []float64) int {
	least := math.Inf(1)
	for _, v := range values {
		if v > 0 && v < least {
			least = v
		}
	}
	if math.IsInf(least, 1) {
		return 1
	}
	return min(max(2-int(math.Floor(math.Log10(least))), 1), 4)
}

// thousands groups a count for reading.
func thousands(n int64) string {
	s := strconv.FormatInt(n, 10)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "\u202f" + s[i:]
	}
	return s
}

func parseTime(s string) (time.Time, bool) {
	t, err := time.Parse(time.RFC3339Nano, s)
	return t.UTC(), err == nil
}

// clockTime renders an RFC 3339 time as 10:04:31.
func clockTime(s string) string {
	t, ok := parseTime(s)
	if !ok {
		return missing
	}
	return t.Format("15:04:05")
}

// duration renders the time from one RFC 3339 time to another as minutes and
// seconds, 4:05.
func duration(from, to string) string {
	a, okA := parseTime(from)
	b, okB := parseTime(to)
	if !okA || !okB {
		return missing
	}
	s := int(math.Round(b.Sub(a).Seconds()))
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// sentence renders a statement with a capital and a full stop. A key of the
// configuration, such as fuel.tank_l, keeps its small letters.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return ""
	}
	if first, _, _ := strings.Cut(s, " "); !strings.ContainsAny(strings.TrimRight(first, ".:,"), "._[") {
		s = capital(s)
	}
	if !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return s
}

func capital(s string) string {
	r := []rune(s)
	if len(r) > 0 {
		r[0] = unicode.ToUpper(r[0])
	}
	return string(r)
}

// small undoes capital, but for an abbreviation such as GNSS.
func small(s string) string {
	r := []rune(s)
	if len(r) > 1 && !unicode.IsUpper(r[1]) {
		r[0] = unicode.ToLower(r[0])
	}
	return string(r)
}

// listed joins names as "a, b and c".
func listed(names []string) string {
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return strings.Join(names, "")
}

// shortened cuts a text to so many characters, the last of them an ellipsis.
func shortened(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// words renders a key such as held_throttle as text.
func words(key string) string { return strings.ReplaceAll(key, "_", " ") }

// span renders the least and greatest of values with a unit, "" if there are
// none.
func span(values []float64, decimals int, unit string) string {
	if len(values) == 0 {
		return ""
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range values {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	a, b := fixed(lo, decimals), fixed(hi, decimals)
	if a == b {
		return a + unit
	}
	return a + " to " + b + unit
}
