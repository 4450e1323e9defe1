package simulate

import (
	"math"
	"math/rand/v2"
	"slices"
)

// order is one thing the captain does: it acts once and then waits.
type order struct {
	act   func(w *world)
	until func(w *world) bool
	limit float64 // s, after which the captain goes on whatever until says
}

// captain turns the script into orders. All its human error is drawn here.
type captain struct {
	s      *Scenario
	rand   *rand.Rand
	orders []order
	gears  []int8  // as they will be
	course float64 // rad, as it will be
	steps  int
	began  bool // engines started
}

// actionKeys lists what a script can do.
var actionKeys = []string{
	"dock", "harbour", "slow", "drift", "step", "accelerate", "circle", "crash_stop",
}

func (s *Scenario) orders(seed uint64) []order {
	c := &captain{
		s: s, rand: stream(seed, streamCaptain), gears: make([]int8, len(s.Engines.Names)),
		course: s.Captain.HeadingDeg * degree,
	}
	for i := range s.Script {
		a := &s.Script[i]
		c.leave()
		switch a.Do {
		case "dock":
			c.dock(a, i == len(s.Script)-1)
		case "harbour":
			c.manoeuvre(a)
		case "slow":
			c.slow(a, i > len(s.Script)/2)
		case "drift":
			c.neutral()
			c.wait(a.ForS)
		case "step":
			c.step(a)
		case "accelerate":
			c.accelerate(a)
		case "circle":
			c.circle(a)
		case "crash_stop":
			c.crashStop(a)
		}
	}
	return c.orders
}

// do appends an order.
func (c *captain) do(act func(*world), until func(*world) bool, limit float64) {
	c.orders = append(c.orders, order{act, until, limit})
}

func never(*world) bool { return false }

func (c *captain) wait(s float64) { c.do(nil, never, s) }

// act appends an order that waits for nothing.
func (c *captain) act(f func(*world)) { c.do(f, never, 0) }

// leave ends what the previous action had set.
func (c *captain) leave() {
	c.act(func(w *world) { w.step, w.pass, w.harbour, w.moored = 0, 0, false, false })
}

// begin starts the engines, port first.
func (c *captain) begin() {
	if c.began {
		return
	}
	c.began = true
	c.wait(20)
	for i := range c.gears {
		c.act(func(w *world) { w.running[i] = true })
		c.wait(4)
	}
}

// outer lists the engines used in harbour: all but the centre one of an odd
// number of several.
func (c *captain) outer() []int {
	n := len(c.gears)
	var list []int
	for i := range n {
		if n == 1 || n%2 == 0 || i != n/2 {
			list = append(list, i)
		}
	}
	return list
}

func (c *captain) idle() {
	idle := c.s.Engines.IdleRPM
	c.act(func(w *world) {
		for i := range w.commands {
			w.throttle(i, idle)
		}
	})
}

// engage shifts the given engines, with a moment between two.
func (c *captain) engage(engines []int, gear int8) {
	for _, i := range engines {
		if c.gears[i] == gear {
			continue
		}
		c.gears[i] = gear
		c.act(func(w *world) { w.shift(i, gear) })
		c.wait(0.4 + 0.3*c.rand.Float64())
	}
}

// centre lists the engines that outer leaves out.
func (c *captain) centre() []int {
	var list []int
	outer := c.outer()
	for i := range c.gears {
		if !slices.Contains(outer, i) {
			list = append(list, i)
		}
	}
	return list
}

// ahead engages all engines with the throttles back, the centre one last.
func (c *captain) ahead() {
	if !slices.Contains(c.gears, 0) {
		return
	}
	c.idle()
	c.wait(1.5)
	c.engage(c.outer(), 1)
	c.engage(c.centre(), 1)
}

// slowDown takes the throttles back and lets the way come off.
func (c *captain) slowDown() {
	c.idle()
	c.do(nil, func(w *world) bool { return w.speed < 3.5 }, 25)
}

// neutral slows down and disengages, the centre engine first.
func (c *captain) neutral() {
	if !slices.ContainsFunc(c.gears, func(g int8) bool { return g != 0 }) {
		return
	}
	c.slowDown()
	c.engage(c.centre(), 0)
	c.wait(2)
	c.engage(c.outer(), 0)
}

// throttles sets the engines by eye to a speed; full means to the stop.
func (c *captain) throttles(rpm float64, full bool) {
	set := make([]float64, len(c.gears))
	base := rpm * (1 + c.s.Captain.ThrottleErrorPct/100*c.rand.NormFloat64())
	for i := range set {
		set[i] = min(c.s.Engines.TopRPM, base+c.s.Captain.EngineSpreadRPM*c.rand.NormFloat64())
		set[i] = max(c.s.Engines.IdleRPM, set[i])
		if full {
			set[i] = c.s.Engines.TopRPM
		}
	}
	c.set(set)
}

func (c *captain) set(rpm []float64) {
	c.act(func(w *world) {
		for i, r := range rpm {
			w.throttle(i, r)
		}
	})
}

// turn steers a new course and waits until the boat is on it.
func (c *captain) turn(course float64) {
	c.course = course
	c.do(func(w *world) { w.turnG = 0.2; w.steer(course) },
		func(w *world) bool { return math.Abs(w.heading-w.course) < 2*degree }, 150)
}

// hold waits until the boat has been settled for so long.
func (c *captain) hold(s float64) {
	c.do(nil, func(w *world) bool { return w.held() >= s }, s+120)
}

func (c *captain) dock(a *Action, last bool) {
	if !c.began {
		c.act(func(w *world) { w.moored = true })
	}
	c.begin()
	c.neutral()
	c.do(nil, func(w *world) bool { return math.Abs(w.speed) < 0.6 }, 30)
	c.act(func(w *world) { w.moored = true })
	rest := a.ForS
	for range a.Shifts {
		for _, gear := range []int8{1, 0, -1, 0} {
			c.engage(c.outer()[:1], gear)
			c.wait(1 + c.rand.Float64())
			rest -= 2
		}
		c.wait(5)
		rest -= 5
	}
	c.wait(max(1, rest))
	if last {
		c.act(func(w *world) {
			for i := range w.running {
				w.running[i] = false
			}
		})
		c.wait(10)
	}
}

// manoeuvre is short kicks ahead and astern and much turning.
func (c *captain) manoeuvre(a *Action) {
	c.begin()
	c.neutral()
	c.act(func(w *world) { w.harbour = true })
	idle := c.s.Engines.IdleRPM
	outer := c.outer()
	for used := 0.0; used < a.ForS; {
		gear := int8(1)
		if c.rand.Float64() < 0.25 {
			gear = -1
		}
		engine := outer[c.rand.IntN(len(outer))]
		rpm := idle * (1 + 0.4*c.rand.Float64())
		course := c.course + (c.rand.Float64()-0.5)*2
		c.course = course
		kick, pause := 3+5*c.rand.Float64(), 1.5+4*c.rand.Float64()
		c.engage([]int{engine}, gear)
		c.do(func(w *world) { w.throttle(engine, rpm); w.steer(course) }, never, kick)
		c.do(func(w *world) { w.throttle(engine, idle) }, never, 1.2)
		c.engage([]int{engine}, 0)
		c.wait(pause)
		used += kick + pause + 2.4
	}
	c.course = c.s.Captain.HeadingDeg * degree
	course := c.course
	c.act(func(w *world) { w.harbour = false; w.steer(course) })
}

// slow goes at low speed; on an odd number of engines the centre one rests.
// Homeward the water shoals towards the end of it.
func (c *captain) slow(a *Action, homeward bool) {
	c.begin()
	if slices.Contains(c.gears, 1) {
		c.slowDown()
	}
	c.engage(c.centre(), 0)
	c.engage(c.outer(), 1)
	c.throttles(a.RPM, false)
	if homeward {
		c.do(nil, func(w *world) bool { return w.held() > 0 }, 60)
		c.act(func(w *world) { w.shoalAhead(w.speed*a.ForS, w.s.Place.HarbourM) })
	}
	c.wait(a.ForS)
}

// shoalAhead puts a bank of the given depth so far ahead that it reaches three
// quarters of the way back.
func (w *world) shoalAhead(distance, depth float64) {
	sin, cos := math.Sincos(w.course)
	w.bottom.banks = append(w.bottom.banks, bank{
		x: w.actual.x + distance*sin, y: w.actual.y + distance*cos,
		depth: depth, radius: distance / 2,
	})
}

// accelerate goes from rest to the given throttle.
func (c *captain) accelerate(a *Action) {
	c.begin()
	if a.About {
		c.turn(c.course + math.Pi)
	}
	c.neutral()
	c.do(nil, func(w *world) bool { return math.Abs(w.speed) < 0.4 }, 120)
	c.ahead()
	c.act(func(w *world) { w.startAcceleration() })
	c.throttles(a.RPM, a.Full)
	c.hold(max(a.ForS, 5))
}

func (c *captain) step(a *Action) {
	c.begin()
	c.ahead()
	c.steps++
	step := c.steps
	for pass := 1; pass <= a.Passes; pass++ {
		if pass > 1 {
			c.turn(c.course + math.Pi)
		}
		c.act(func(w *world) { w.step, w.pass = step, pass })
		c.pass(a, pass)
		c.leave()
	}
}

func (c *captain) pass(a *Action, pass int) {
	var ev Event
	for _, e := range a.Events {
		if e.Pass == pass {
			ev = e
		}
	}
	if ev.HuntPct > 0 {
		c.hunt(a, &ev)
	}
	if ev.AbortS > 0 {
		c.abort(a, &ev)
	}
	c.throttles(a.RPM, a.Full)
	hold := c.s.Captain.HoldS + c.s.Captain.HoldSpreadS*(2*c.rand.Float64()-1)
	if ev.ShoalM > 0 {
		c.hold(hold / 3)
		c.act(func(w *world) { w.bankAhead(50, 160, ev.ShoalM) })
		c.wait(5)
		c.do(nil, func(w *world) bool { return !w.shoal && w.conditions.depth > shallowLimit }, 60)
	}
	if ev.DropoutS > 0 {
		c.hold(hold / 3)
		c.act(func(w *world) { w.mute(deviceGNSS1, ev.DropoutS) })
	}
	if ev.CorrectPct != 0 {
		c.hold(hold / 2)
		k := 1 + ev.CorrectPct/100
		c.act(func(w *world) {
			for i, r := range w.commands {
				w.throttle(i, min(w.s.Engines.TopRPM, r*k))
			}
		})
		hold /= 2
	}
	c.hold(hold)
}

// bankAhead puts a small bank so far ahead.
func (w *world) bankAhead(distance, radius, depth float64) {
	sin, cos := math.Sincos(w.course)
	distance += radius * 2
	w.bottom.banks = append(w.bottom.banks, bank{
		x: w.actual.x + distance*sin, y: w.actual.y + distance*cos, depth: depth, radius: radius,
	})
}

// hunt moves the throttles to and fro for a while: a pass given up.
func (c *captain) hunt(a *Action, ev *Event) {
	c.throttles(a.RPM, a.Full)
	c.wait(12)
	h := hunt{amplitude: ev.HuntPct / 100, period: ev.PeriodS}
	c.act(func(w *world) {
		h.from, h.base = w.t, slices.Clone(w.commands)
		w.hunt = h
		w.epoch++
	})
	c.wait(c.s.Captain.HoldS)
	c.act(func(w *world) {
		copy(w.commands, w.hunt.base)
		w.hunt = hunt{}
		w.epoch++
	})
}

// abort chops the throttles soon after they were set: a pass given up.
func (c *captain) abort(a *Action, ev *Event) {
	c.throttles(a.RPM, a.Full)
	c.wait(ev.AbortS)
	c.act(func(w *world) { w.aborted = true })
	c.idle()
	c.wait(8)
}

// circle turns through more than 360 degrees with the helm held over, and then
// back on to the course.
func (c *captain) circle(a *Action) {
	c.begin()
	c.ahead()
	c.throttles(a.RPM, a.Full)
	c.hold(8)
	side := 1.0
	if a.Side == "port" {
		side = -1
	}
	c.do(func(w *world) { w.turnG = 0.4; w.startTurn(side) },
		func(w *world) bool { return math.Abs(w.heading-w.turnFrom) > 2.3*math.Pi }, 200)
	c.act(func(w *world) { w.endTurn() })
	c.turn(c.course)
}

// crashStop runs at speed and then goes full astern.
func (c *captain) crashStop(a *Action) {
	c.begin()
	c.ahead()
	c.throttles(a.RPM, a.Full)
	c.hold(8)
	all := append(c.centre(), c.outer()...)
	idle, rated := c.s.Engines.IdleRPM, c.s.Engines.RatedRPM
	c.act(func(w *world) { w.startStop() })
	c.idle()
	c.do(nil, func(w *world) bool { return w.rpm[0] < 1.8*idle }, 6)
	c.engage(all, 0)
	c.engage(all, -1)
	c.set(slices.Repeat([]float64{0.6 * rated}, len(all)))
	c.do(nil, func(w *world) bool { return w.speed <= 0.05 }, 60)
	c.idle()
	c.wait(1.5)
	c.engage(all, 0)
	c.wait(8)
}
