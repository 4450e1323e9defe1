package track

import (
	"math"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/decode/sample"
	"trialday.example/logd/pgn"
)

const degree = math.Pi / 180

// sail feeds positions of a boat on a straight course, hertz times a second, and
// returns the derived velocities.
func sail(t *Track, from float64, latitude, longitude, knots, course, hertz, noise float64) (speeds, courses []float64) {
	r := rand.New(rand.NewPCG(3, 4))
	v := knots * 1852 / 3600
	const radius = 6371000 // a sphere is near enough for a minute
	for i := range int(60 * hertz) {
		s := from + float64(i)/hertz
		way := v * float64(i) / hertz
		lat := latitude + (way*math.Cos(course)+noise*r.NormFloat64())/radius
		lon := longitude + (way*math.Sin(course)+noise*r.NormFloat64())/radius/math.Cos(latitude)
		at := int64(s * 1e9)
		t.Add(&sample.Sample{Time: at, Quantity: pgn.Latitude, Value: lat, Source: 5})
		c, v := t.Add(&sample.Sample{Time: at, Quantity: pgn.Longitude, Value: math.Remainder(lon, 2*math.Pi), Source: 5})
		if c != nil {
			if c.Time != at || v.Time != at || c.Quantity != pgn.CourseOverGround || v.Quantity != pgn.SpeedOverGround || v.Source != 5 {
				panic("not a velocity of that moment")
			}
			speeds, courses = append(speeds, v.Value), append(courses, c.Value)
		}
	}
	return speeds, courses
}

func TestVelocityOfPositions(t *testing.T) {
	for _, c := range []struct{ lat, lon, course, hertz float64 }{
		{50, -3, 70, 10}, {50, -3, 359.9, 1}, {0, 179.999, 90, 5}, {-0.001, 0, 0, 10}, {-60, -179.999, 270, 2}, {68, 20, 200, 1},
	} {
		var track Track
		speeds, courses := sail(&track, 0, c.lat*degree, c.lon*degree, 25, c.course*degree, c.hertz, 0)
		if len(speeds) < int(50*c.hertz) {
			t.Fatalf("%+v: %d velocities", c, len(speeds))
		}
		for i := range speeds {
			// The sphere of the test differs from the ellipsoid by half a per cent.
			if math.Abs(speeds[i]*3600/1852/25-1) > 0.01 || math.Abs(math.Remainder(courses[i]-c.course*degree, 2*math.Pi)) > 0.01 {
				t.Fatalf("%+v: %g kn, %g degrees", c, speeds[i]*3600/1852, courses[i]/degree)
			}
			if courses[i] < 0 || courses[i] >= 2*math.Pi {
				t.Fatalf("course %g", courses[i])
			}
		}
		if track.Seconds < 50 || track.Seconds > 60 {
			t.Errorf("%d seconds", track.Seconds)
		}
	}
}

func TestNoiseOfPositions(t *testing.T) {
	var track Track
	speeds, _ := sail(&track, 0, 50*degree, 0, 20, 1, 10, 0.05)
	var sum, squares float64
	for _, v := range speeds {
		d := v - 20*1852.0/3600
		sum += d
		squares += d * d
	}
	n := float64(len(speeds))
	if math.Abs(sum/n) > 0.05 || math.Sqrt(squares/n) > 0.06 {
		t.Errorf("bias %g, rms %g m/s", sum/n, math.Sqrt(squares/n))
	}
}

// A receiver that sends its velocity is never replaced, but for long silences.
func TestOnlyWhereNoVelocityIsSent(t *testing.T) {
	var track Track
	at := int64(0)
	given, made := 0, 0
	for i := range 600 {
		at = int64(i) * second / 10
		if i%10 == 0 && (i < 200 || i > 500) {
			track.Add(&sample.Sample{Time: at, Quantity: pgn.SpeedOverGround, Value: 5})
			given++
		}
		track.Add(&sample.Sample{Time: at, Quantity: pgn.Latitude, Value: float64(i) * 1e-7})
		if course, _ := track.Add(&sample.Sample{Time: at, Quantity: pgn.Longitude}); course != nil {
			made++
		}
	}
	if made < 250 || made > 275 || track.Seconds > 28 {
		t.Errorf("%d made in %d s beside %d given", made, track.Seconds, given)
	}
}

// Halves of positions, other devices, silences and values that are none give
// nothing.
func TestWhatIsNoPosition(t *testing.T) {
	var track Track
	add := func(at int64, q pgn.Quantity, source uint16, state pgn.State) bool {
		course, speed := track.Add(&sample.Sample{Time: at, Quantity: q, Source: source, State: state})
		return course != nil || speed != nil
	}
	for i := range int64(100) {
		at := i * second
		if add(at, pgn.Longitude, 1, pgn.Valid) {
			t.Error("half a position")
		}
		add(at, pgn.Latitude, 1, pgn.Valid)
		if add(at, pgn.Longitude, 2, pgn.Valid) {
			t.Error("halves of two devices")
		}
		add(at, pgn.Latitude, 1, pgn.NotAvailable)
	}
	for i := range int64(20) { // positions further apart than the speed of anything can be told by
		add(i*10*second, pgn.Latitude, 1, pgn.Valid)
		if add(i*10*second, pgn.Longitude, 1, pgn.Valid) {
			t.Error("over a hole")
		}
	}
}
