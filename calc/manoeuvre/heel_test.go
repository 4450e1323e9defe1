package manoeuvre

import (
	"math"
	"math/rand/v2"
	"testing"

	"trialday.example/logd/calc/scipy"
)

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
