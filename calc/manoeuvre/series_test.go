package manoeuvre

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"os/exec"
	"testing"

	"trialday.example/logd/calc/scipy"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

func TestSmoothAgainstSciPy(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, 60)
	for i := range x {
		x[i] = math.Sin(float64(i)/9) + 0.1*r.NormFloat64()
	}
	var want [2][]float64
	scipy.Run(t, `import scipy.signal
v = scipy.signal.savgol_filter(x, 11, 2)
d = scipy.signal.savgol_filter(x, 11, 2, deriv=1, delta=0.1)
print(json.dumps([list(v), list(d)]))`, x, &want)
	value, slope := smooth(x, 5)
	for i := range x {
		if i < 5 || i >= len(x)-5 {
			if !math.IsNaN(value[i]) || !math.IsNaN(slope[i]) {
				t.Errorf("a value at the end, place %d", i)
			}
			continue
		}
		near(t, "value", value[i], want[0][i], 1e-12)
		near(t, "slope", slope[i], want[1][i], 1e-12)
	}
}

func TestCrossingAgainstSciPy(t *testing.T) {
	// A smooth acceleration on cells of 0.1 s: linear interpolation between
	// them finds the same moment as root finding on a monotone cubic.
	x := make([]float64, 200)
	for i := range x {
		x[i] = 18 * (1 - math.Exp(-float64(i)/60))
	}
	levels := []float64{2.5, 5, 10, 15}
	var want []float64
	scipy.Run(t, `import scipy.interpolate
v, levels = x
f = scipy.interpolate.PchipInterpolator(range(len(v)), v)
print(json.dumps([scipy.optimize.brentq(lambda t: f(t) - l, 0, len(v) - 1) for l in levels]))`,
		[][]float64{x, levels}, &want)
	for i, l := range levels {
		near(t, "place", crossing(x, 0, l), want[i], 0.01)
	}
}

func TestCrossingEdges(t *testing.T) {
	x := []float64{math.NaN(), 1, 2, math.NaN(), 4, 3}
	near(t, "on a value", crossing(x, 0, 2), 2, 0)
	near(t, "between", crossing(x, 0, 1.5), 1.5, 1e-12)
	near(t, "beyond a hole", crossing(x, 0, 3), 4, 0)
	near(t, "already there", crossing(x, 1.75, 1.5), 1.75, 0)
	if p := crossing(x, 0, 5); !math.IsNaN(p) {
		t.Errorf("a level never reached is reached at %g", p)
	}
}

func TestCircleAgainstSciPy(t *testing.T) {
	// Half a circle with noise along and across: geometric least squares.
	r := rand.New(rand.NewPCG(3, 4))
	var p []complex128
	var in [][2]float64
	for i := range 90 {
		z := cmplx.Rect(40+0.5*r.NormFloat64(), 0.3+float64(i)*math.Pi/90) + complex(1000, -500)
		p = append(p, z)
		in = append(in, [2]float64{real(z), imag(z)})
	}
	var want [3]float64
	scipy.Run(t, `x = np.array(x)
r = scipy.optimize.least_squares(lambda k: np.hypot(x[:,0]-k[0], x[:,1]-k[1]) - k[2],
    [x[:,0].mean(), x[:,1].mean(), 30], xtol=1e-14, ftol=1e-14, gtol=1e-14)
print(json.dumps(list(r.x)))`, in, &want)
	centre, radius, ok := fitCircle(p)
	if !ok {
		t.Fatal("no circle")
	}
	near(t, "north", real(centre), want[0], 1e-5)
	near(t, "east", imag(centre), want[1], 1e-5)
	near(t, "radius", radius, want[2], 1e-5)
}

func TestDriftingCircleAgainstSciPy(t *testing.T) {
	// With a constant speed the fit of the track is that of
	// centre + C*t + R*(cos, sin).
	r := rand.New(rand.NewPCG(5, 6))
	const rate, radius = 0.2, 35.0
	flow := complex(0.4, -0.7)
	c := &circle{sign: 1, turnClip: turnClip{frames: []frame{{}}}}
	in := [][3]float64{}
	for i := range 400 {
		s := float64(i) * dt
		c.heading = append(c.heading, rate*s)
		z := flow*complex(s, 0) + cmplx.Rect(radius, rate*s-math.Pi/2) + complex(0.2*r.NormFloat64(), 0.2*r.NormFloat64())
		c.track = append(c.track, z)
		if p := math.Pi / 6 / rate / dt; float64(i) >= p-1 {
			in = append(in, [3]float64{s, real(z), imag(z)})
		}
	}
	c.end = 399
	var want [2]float64
	scipy.Run(t, `x = np.array(x)
s, n, e = x.T
f = lambda k: np.concatenate([k[0] + k[2]*s + k[4]*np.cos(k[5]*s + k[6]) - n, k[1] + k[3]*s + k[4]*np.sin(k[5]*s + k[6]) - e])
r = scipy.optimize.least_squares(f, [0, 0, 0, 0, 30, 0.2, -1.5])
print(json.dumps([r.x[2], r.x[3]]))`, in, &want)
	got, ok := c.current()
	if !ok {
		t.Fatal("no current")
	}
	near(t, "north", real(got.Velocity), want[0], 0.02)
	near(t, "east", imag(got.Velocity), want[1], 0.02)
	near(t, "true north", real(got.Velocity), real(flow), 2*got.SE)
	near(t, "true east", imag(got.Velocity), imag(flow), 2*got.SE)
}

// The standard error of a fitted heel against NumPy: response by another
// integrator, derivatives by central differences, normal equations instead of
// QR. The doubling for the search is taken off.
func TestErrorOfHeelAgainstSciPy(t *testing.T) {
	r := rand.New(rand.NewPCG(17, 18))
	const n, place, w, z, k = 260, 85, 1.7, 0.3, 0.8
	cause := make([]float64, n)
	for i := range cause {
		if s := float64(i-60) * dt; s > 0 {
			cause[i] = 0.38 * (1 - math.Exp(-s/0.7))
		}
	}
	o := oscillator{w: w, z: z, k: k, h: respond(cause, 0, n-1, w, z)}
	roll := make([]float64, n)
	phase := 0.0
	for i := range roll {
		phase += 0.25 + 0.1*r.NormFloat64() // a wave of about 2.5 s that wanders
		roll[i] = 0.01 + k*o.h[i] + 0.03*math.Sin(phase)
	}
	var want struct{ SE, Peak float64 }
	scipy.Run(t, `from scipy.integrate import solve_ivp
c, y, p, w, z, k = np.array(x["cause"]), np.array(x["roll"]), x["place"], x["w"], x["z"], x["k"]
t = np.arange(len(c)) * 0.1
def h(w, z):
    # The cause is held over a cell.
    f = lambda s, q: [q[1], w*w*(c[min(int(s/0.1 + 1e-9), len(c)-1)] - q[0]) - 2*z*w*q[1]]
    return solve_ivp(f, (0, t[-1]), [0, 0], t_eval=t, max_step=0.02, rtol=1e-6, atol=1e-9).y[0]
e = 0.01
J = np.column_stack([np.ones_like(t), h(w, z), k*(h(w*(1+e), z) - h(w*(1-e), z))/(2*e), k*(h(w, z*(1+e)) - h(w, z*(1-e)))/(2*e)])
a = J @ np.linalg.inv(J.T @ J) @ J[p]
d = y - k*J[:,1]
d = d - d.mean()
var = 0
for lag in range(100):
    n = len(d) - lag
    var += (d[:n] @ d[lag:]) / len(d) * (a[:n] @ a[lag:]) * (1 if lag == 0 else 2*(1 - lag/100))
print(json.dumps({"SE": max(var, 0)**0.5, "Peak": k*J[p,1]}))`,
		map[string]any{"cause": cause, "roll": roll, "place": place, "w": w, "z": z, "k": k}, &want)
	near(t, "heel there", k*o.h[place], want.Peak, 0.01*want.Peak)
	near(t, "standard error", o.errorAt(place, cause, 0, roll)/2, want.SE, 0.05*want.SE)
}

// A change of heading is timed by a parabola through the headings nearby, as
// NumPy fits it.
func TestChangeOfHeadingAgainstSciPy(t *testing.T) {
	r := rand.New(rand.NewPCG(19, 20))
	c := &circle{}
	for i := range 200 {
		s := float64(i) * dt
		c.heading = append(c.heading, 0.25*s+0.004*s*s+0.01*r.NormFloat64())
	}
	at := crossing(c.heading, 0, math.Pi/2)
	in := map[string]any{
		"h": c.heading, "level": math.Pi / 2, "at": at,
		"from": crossing(c.heading, 0, math.Pi/2-nearby), "to": crossing(c.heading, at, math.Pi/2+nearby),
	}
	var want float64
	scipy.Run(t, `i = np.arange(int(np.ceil(x["from"])), int(np.floor(x["to"])) + 1)
k = np.polyfit(i - x["at"], np.array(x["h"])[i] - x["level"], 2)
roots = np.roots(k)
print(json.dumps(float(x["at"] + roots[np.argmin(abs(roots))].real)))`, in, &want)
	near(t, "place", c.reached(math.Pi/2), want, 1e-6)
	truth := (-0.25 + math.Sqrt(0.25*0.25+4*0.004*math.Pi/2)) / (2 * 0.004) / dt
	near(t, "true place", c.reached(math.Pi/2), truth, 0.3)
}

func TestOnset(t *testing.T) {
	// An engine's first-order rise from idle, sampled ten times a second and
	// interpolated on to cells, with the controller's ripple.
	r := rand.New(rand.NewPCG(7, 8))
	var sum, squares float64
	const tries = 200
	for range tries {
		start := 60 + r.Float64()
		phase := r.Float64()
		rpm := func(p float64) float64 {
			v := 10.8
			if s := (p - start) * dt; s > 0 {
				v += 40 * (1 - math.Exp(-s/1.3))
			}
			return v
		}
		sampled := make([]float64, 130)
		for i := range sampled {
			sampled[i] = rpm(float64(i)-phase) * (1 + 0.001*r.NormFloat64())
		}
		x := make([]float64, 120)
		for i := range x {
			x[i] = valueAt(sampled, float64(i)+phase)
		}
		d := (onset(x, 75) - start) * dt
		sum += d
		squares += d * d
	}
	if m, rms := sum/tries, math.Sqrt(squares/tries); math.Abs(m) > 0.015 || rms > 0.03 {
		t.Errorf("the onset is found %+.3f s off on average, %.3f s rms", m, rms)
	}
}

func TestPlaceAgainstGeographicLib(t *testing.T) {
	// A boat's track on the ellipsoid, step by step, against geodesics: its
	// length, and distance and direction from the first to the last point.
	r := rand.New(rand.NewPCG(9, 10))
	var tracks [][][2]float64
	var lengths []float64
	var ends []complex128
	for _, start := range [][2]float64{{50.2, -3.1}, {-36.8, 179.9995}, {0.001, 12}, {69.6, 18.9}} {
		var p place
		lat, lon := start[0], start[1]
		in := [][2]float64{}
		length, last := 0.0, complex128(0)
		for range 300 {
			in = append(in, [2]float64{lat, lon})
			at := p.move(lat*math.Pi/180, lon*math.Pi/180)
			length += cmplx.Abs(at - last)
			last = at
			lat += 2e-5 * (1 + r.NormFloat64())
			lon = math.Remainder(lon+2e-5*(1+r.NormFloat64()), 360)
		}
		tracks, lengths, ends = append(tracks, in), append(lengths, length), append(ends, last)
	}
	var want [][3]float64
	geographicLib(t, `
g = Geodesic.WGS84
out = []
for p in x:
    n = sum(g.Inverse(a[0], a[1], b[0], b[1])['s12'] for a, b in zip(p, p[1:]))
    d = g.Inverse(p[0][0], p[0][1], p[-1][0], p[-1][1])
    out.append([n, d['s12'], d['azi1']])
print(json.dumps(out))`, tracks, &want)
	for i, w := range want {
		near(t, "length of the track, m", lengths[i], w[0], 1e-4*w[0])
		near(t, "distance, m", cmplx.Abs(ends[i]), w[1], 1e-4*w[1])
		near(t, "direction, degrees", cmplx.Phase(ends[i])*180/math.Pi, w[2], 0.02)
	}
}

// geographicLib runs a program with GeographicLib (Debian's
// python3-geographiclib) at hand.
func geographicLib(t *testing.T, program string, in, out any) {
	t.Helper()
	if err := exec.Command("/usr/bin/python3", "-c", "import geographiclib").Run(); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatalf("python3-geographiclib is not installed: %v", err)
		}
		t.Skip("python3-geographiclib is not installed")
	}
	scipy.Run(t, "from geographiclib.geodesic import Geodesic"+program, in, out)
}
