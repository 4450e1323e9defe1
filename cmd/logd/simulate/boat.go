package simulate

import "math"

const (
	gravity   = 9.80665 // m/s²
	seaWater  = 1025.0  // kg/m³
	airDense  = 1.225   // kg/m³
	viscosity = 1.15e-6 // m²/s, sea water near 16 °C
	knot      = 1852.0 / 3600
	degree    = math.Pi / 180

	maxEngines = 8
)

// conditions are what the boat's balance of forces depends on beside its own
// speed. They hold no random part, so that the slow speed is exact.
type conditions struct {
	mass     float64 // kg, fuel included
	headwind float64 // m/s, mean wind against the bow
	waveDrag float64 // N at full speed; see waveDrag
	depth    float64 // m
	yawRate  float64 // rad/s
}

// boat is the hull with its engines and propellers.
type boat struct {
	Vessel
	Hull
	Engines
	Propeller
	ratedTorque float64 // N·m
	j0          float64 // advance ratio of no thrust
	volumeSpeed float64 // m/s, see froude; at mass
	volumeMass  float64
}

func newBoat(s *Scenario) *boat {
	return &boat{
		Vessel: s.Vessel, Hull: s.Hull, Engines: s.Engines, Propeller: s.Propeller,
		ratedTorque: s.Engines.RatedKW * 1000 / (s.Engines.RatedRPM * 2 * math.Pi / 60),
		j0:          1.05 * s.Propeller.PitchM / s.Propeller.DiameterM,
	}
}

// froude is the displacement Froude number V/sqrt(g·vol^(1/3)); fully planing
// above about 3 (Savitsky 1964; from memory).
func (b *boat) froude(v, mass float64) float64 {
	if math.Abs(mass-b.volumeMass) > 1 {
		b.volumeMass = mass
		b.volumeSpeed = math.Sqrt(gravity * math.Cbrt(mass/seaWater))
	}
	return v / b.volumeSpeed
}

// planing is 0 afloat and 1 on the plane.
func (b *boat) planing(froude float64) float64 {
	return 1 / (1 + math.Exp((b.PlaningFroude-froude)/0.35))
}

// hump is 1 at a Froude number, falling to either side by the given width of
// its logarithm.
func hump(froude, at, width float64) float64 {
	if froude <= 0.05 {
		return 0
	}
	x := math.Log(froude/at) / width
	return math.Exp(-x * x / 2)
}

// resistance is the drag in N at speed v through water.
//
// Wave-making has a hump that grows with displacement; on the plane pressure
// drag replaces it; friction is by the ITTC 1957 line over a wetted area that
// shrinks on the plane; air and waves add theirs. The shape is invented to be
// plausible, not a method of prediction.
func (b *boat) resistance(v float64, c *conditions) float64 {
	if v < 0 {
		// Going astern: bluff stern, no lift.
		return -(seaWater * b.WettedM2 * 0.012 * v * v) - b.air(-v, -c.headwind)
	}
	f := b.froude(v, c.mass)
	plane := b.planing(f)
	weight := c.mass * gravity
	pressure := weight * (b.Hump*hump(f, b.HumpFroude, b.HumpWidth) + b.Planing*plane)
	pressure *= shallow(v, c.depth)
	reynolds := v*b.LengthM/viscosity + 1e4
	log := math.Log10(reynolds) - 2
	friction := seaWater / 2 * b.WettedM2 * (1 - (1-b.WettedPlaning)*plane) *
		(0.075/(log*log) + b.Roughness) * v * v
	waves := c.waveDrag * math.Min(1, v/5)
	turn := b.TurnDrag * c.mass * v * math.Abs(c.yawRate)
	return pressure + friction + waves + turn + b.air(v, c.headwind)
}

func (b *boat) air(v, headwind float64) float64 {
	u := v + headwind
	return airDense / 2 * b.WindageM2 * u * math.Abs(u)
}

// shallowLimit is the depth below which the bottom is felt, m.
const shallowLimit = 8

// shallow multiplies pressure resistance: more near the critical speed
// sqrt(g·h), slightly less well above it. It is 1 in deep water.
func shallow(v, depth float64) float64 {
	if depth >= shallowLimit {
		return 1
	}
	near := (shallowLimit - depth) / shallowLimit
	x := v/math.Sqrt(gravity*depth) - 1
	return 1 + near*(0.9*math.Exp(-x*x/0.08)-0.35*smooth((x-0.3)/0.5))
}

// smooth rises from 0 to 1 as x does.
func smooth(x float64) float64 {
	x = max(0, min(1, x))
	return x * x * (3 - 2*x)
}

// pitch is the running trim in rad, bow up.
func (b *boat) pitch(v, mass float64) float64 {
	f := b.froude(math.Max(v, 0), mass)
	return degree * (b.PitchRestDeg + b.PitchPlaneDeg*b.planing(f) +
		b.PitchHumpDeg*hump(f, 1.1*b.HumpFroude, b.HumpWidth))
}

// propeller returns thrust on the hull in N and torque at the engine in N·m.
// Thrust and torque coefficients fall linearly with the advance ratio; astern
// the blades work less well.
func (b *boat) propeller(gear int8, rpm, v float64) (thrust, torque float64) {
	if gear == 0 {
		return 0, 0.01 * b.ratedTorque
	}
	n := rpm / 60 / b.GearRatio
	d2 := b.DiameterM * b.DiameterM
	d4 := d2 * d2
	va := v * (1 - b.Wake)
	advance := va / (b.DiameterM * b.j0) // n at which thrust vanishes
	square := seaWater * d4
	if gear < 0 {
		thrust = -0.6 * square * b.KT0 * n * (n + 0.4*math.Max(advance, 0))
		torque = 0.8 * square * b.DiameterM * b.KQ0 * n * (n + 0.3*math.Max(advance, 0))
	} else {
		thrust = square * b.KT0 * n * (n - advance)
		torque = square * b.DiameterM * b.KQ0 * n * (n - b.KQSlope*advance)
	}
	thrust *= 1 - b.ThrustDeduction
	return thrust, torque / b.GearRatio / (1 - b.GearLoss)
}

// maxTorque is the engine's greatest torque in N·m at a speed.
func (b *boat) maxTorque(rpm float64) float64 {
	curve := b.Torque
	if rpm <= curve[0][0] {
		return curve[0][1] * b.ratedTorque
	}
	for i := 1; i < len(curve); i++ {
		if lo, hi := curve[i-1], curve[i]; rpm <= hi[0] {
			return (lo[1] + (hi[1]-lo[1])*(rpm-lo[0])/(hi[0]-lo[0])) * b.ratedTorque
		}
	}
	return curve[len(curve)-1][1] * b.ratedTorque
}

// fuelRate is the consumption in L/h of one engine: proportional to brake and
// friction work (the Willans line).
func (b *boat) fuelRate(rpm, torque float64) float64 {
	if rpm < b.IdleRPM/2 {
		return 0
	}
	r := rpm / b.RatedRPM
	brake := math.Max(0, torque) * rpm * 2 * math.Pi / 60 / 1000
	friction := b.FrictionMinKW + (b.FrictionKW-b.FrictionMinKW)*r*r
	return b.FuelGPerKWh * (brake + friction) / 1000 / b.FuelDensityKgPL
}

// heldRPM is the speed at which an engine settles at boat speed v: the
// commanded one, or that at which its torque is used up.
func (b *boat) heldRPM(gear int8, command, v float64) float64 {
	if _, q := b.propeller(gear, command, v); q <= b.maxTorque(command) {
		return command
	}
	lo, hi := b.IdleRPM, command
	for range 25 {
		mid := (lo + hi) / 2
		if _, q := b.propeller(gear, mid, v); q <= b.maxTorque(mid) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// surplus is the force in N that accelerates the boat once the engines have
// settled at speed v.
func (b *boat) surplus(v float64, gears []int8, commands []float64, c *conditions) float64 {
	force := -b.resistance(v, c)
	for i, g := range gears {
		if g != 0 {
			t, _ := b.propeller(g, b.heldRPM(g, commands[i], v), v)
			force += t
		}
	}
	return force
}

// balance is the speed towards which the boat tends from speed v: the nearest
// zero of the surplus in the direction in which it pushes.
func (b *boat) balance(v float64, gears []int8, commands []float64, c *conditions) float64 {
	const stride = 0.1 // m/s; narrower than any valley of the resistance
	f := b.surplus(v, gears, commands, c)
	step := math.Copysign(stride, f)
	for range 400 {
		next := v + step
		g := b.surplus(next, gears, commands, c)
		if g*f <= 0 {
			return b.zero(v, next, f, gears, commands, c)
		}
		v, f = next, g
	}
	return v
}

// zero is the root between v and w by regula falsi with the Illinois rule.
func (b *boat) zero(v, w, f float64, gears []int8, commands []float64, c *conditions) float64 {
	g := b.surplus(w, gears, commands, c)
	for range 30 {
		if math.Abs(w-v) < 1e-6 || f == g {
			break
		}
		m := w - g*(w-v)/(g-f)
		h := b.surplus(m, gears, commands, c)
		if math.Abs(h) < 1e-3 {
			return m
		}
		if h*g < 0 {
			v, f = w, g
		} else {
			f /= 2
		}
		w, g = m, h
	}
	return w
}
