/*
Package manoeuvre finds and measures what a trial day holds beside steady runs:
accelerations, turning circles, crash stops, shifts of the gears, stretches on
some of the engines, and slow-speed handling. It is pure: no input or output,
no clock, no random numbers. SI units, trial time in ns, one pass.

# The way

	grid    samples of every rate, interpolated linearly on to cells of 0.1 s
	        (grid.go). The last six minutes are kept, nothing else.
	watch   one small detector a manoeuvre sees each cell once, 3 s late, when
	        nothing can change it any more (acceleration.go, turn.go, stop.go)
	clip    the cells of one manoeuvre, handed to its measurement; at the most
	        40 of each kind are measured and listed, more are counted
	figure  times by interpolation between cells, speeds through water

Positions along the track count as vectors in m, real part north, imaginary
part east, on a plane that touches the WGS 84 ellipsoid where the boat is; so
do velocities.

# Speed through water

The satellite receiver gives velocity over ground G, late. With lag tau of its
filter and latency of its messages (lag.go) the velocity through water is

	W(t) = G(t+latency) + tau*dG/dt(t+latency) - C

with C the current: that of the day's fit where its passes tell it, that of the
turning circles of the day, and that of a boat adrift, weighted by their
errors and by how far in time they are (flow.go). A boat at rest in a current
shows the current as speed over ground; through water it starts from zero.

G and dG/dt come from a least-squares parabola over 1.1 s (Savitzky and Golay,
Anal. Chem. 36 (1964) 1627).

# Definitions

Acceleration: times count from the first rise of engine speed, found by fitting
the rise and extending it back to the idle speed. The time to a speed is the
first moment at which the speed through water reaches it.

Time to plane: the moment at which the running trim, its peak passed, has
fallen half way from the peak to the trim at the end of the acceleration. It is
given only where the trim falls by more than its noise and, if the boat's mass
is known, where the volume Froude number V/sqrt(g*vol^(1/3)) is then above 1.3,
the end of the displacement range (planing-hull literature, from memory; fully
planing above about 3: Savitsky 1964, from memory).

Turning circle (IMO MSC.137(76) and ITTC 7.5-04-02-01, both from memory), all
through the water, that is with the current's drift taken off the track:

	advance            along the original course, from the rudder order to a
	                   change of heading of 90 degrees
	transfer           at right angles to it, likewise
	tactical diameter  at right angles, to a change of heading of 180 degrees
	steady diameter    of the circle fitted to the last 180 degrees
	time for 360       from the rudder order to a change of heading of 360
	speed loss         of the steady turn against the approach

The reference point is the receiver's antenna, not midship; on a boat that
turns about a point ahead of midship this is a part of the beam at the most.
Heel counts positive into the turn.

Crash stop (same sources): times and distances count from the first movement of
the throttles back, until the boat has no way on through the water; track reach
along the track, head reach along the original course.

The course of the approach is the mean over the last 25 s at the most in which
it was held within two degrees, the entry speed that of the last 5 s. A change
of heading is timed by a parabola through the headings within 30 degrees of it.

# Intervals

All are of 95 %, by Student's t. The standard errors, u, and their sources:

	times to a     u² = (noise/a)² + (u(current)/a)² + u(start)² + u(lag)²
	speed, of a    + u(latency)² + shape of the filter; a is the acceleration
	stop           there (acceleration.go, stop.go)
	turns          parts by squares, each what a figure changes by when one
	               input is off by its u: order, current, latency, heading
	               (helm, waves, compass: correlated over 5 s), position (a
	               random walk, as the day's positions and velocities differ),
	               scatter in the sea (turn_error.go)
	heels          waves' autocovariance about the fit (heel.go)
	stopping       u² = (V*u(late))² + (u(current)*T)² + q²*T; q the random
	distances      walk, V the entry speed, T the time (stop.go)

Where no heading is heard the course over ground stands for it; the current and
the hull's drift angle then put off changes of heading, which is not in the
intervals.

Nor is a compass's deviation: one degree between the approach and 90
degrees later is 1/57 of the radius in the transfer. Nor is the antenna's place.

Latency, 0.06 s, is most of it in advance and transfer: at 28 kn it alone makes
either uncertain by 3 %. See lag.go for why nothing aboard tells it better.

# Assumptions

Water moves uniformly during a manoeuvre. The receiver's filter is of first
order; a pure delay of equal lag would differ by tau²/2 times the jerk, which
the intervals include. The engine's controller and the heading sensor send
without a delay that matters (some 0.02 s).
*/
package manoeuvre
