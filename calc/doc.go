/*
Package calc turns the samples of a trial day into runs, steady windows, rpm
steps and figures, with their uncertainty. It is pure: no input or output, no
clock, no random numbers. It works in SI units and in trial time, one pass over
the samples, keeping only the present run and what was found so far.

# The way

	tick     one second: means of the samples in it (tick.go)
	run      a stretch of one kind: at rest, manoeuvring, accelerating, held
	         throttle, turning, slowing (run.go)
	window   a stretch of a held run that was tested for steadiness (steady.go),
	         and its figures (window.go)
	pass     the steady windows of one run at one throttle setting (step.go)
	step     all passes at one setting, current taken out (current.go)
	best     the steps that answer the questions (best.go)

Up to the windows it is one pass over the samples, and what is found stands
(Evidence). From the windows on it is a pure function of that, the settings and
the amendments of people (Derive), repeated as often as one likes.

# What is steady

A window is steady when nothing forbids it (a quantity missing, its source
changed, shallow water), when throttle and course keep one level, when the
settling tail has died away, and when no drift or hunting is left. In order:

 1. Levels. Each engine's speed and the heading are cut where their mean jumps,
    all together, by exact minimisation of a penalised cost (PELT, Killick et
    al. 2012) with the noise taken from first differences, so that noise sets
    its own threshold. Jumps too small to matter (0.6 % of rpm, 2 degrees) are
    joined again.
 2. Tail. After the throttle or the helm stands still the speed approaches its
    final value exponentially. The window begins where the change still to come
    is below the limit, 0.5 % of speed by default and never less than 0.1 kn.
    The time is a mean over time constants weighted by likelihood, since gusts
    and helm wander as slowly as the tail itself (stat.Settle).
 3. Tests. Standard deviation of each engine's speed (hunting), and the drift of
    heading, speed and fuel rate across the window, where the slope differs
    from zero at 95 % with the residuals' autocorrelation allowed for
    (stat.Slope).

A stretch that fails has one reason. The thresholds stand beside their tests,
each with its unit and why it has that value.

Hull-performance monitoring of ships filters blocks of 10 minutes by standard
deviations: 3 rpm of shaft speed, 0.5 kn of speed, 1 degree of rudder, after
Chauvenet's criterion for outliers (ISO 19030-2, from memory). A planing boat
holds a throttle setting for about a minute and its engines turn some thirty
times faster, so here the time base is seconds and the limits are relative to
speed and rpm. What is kept of that standard is its principle: a stretch is
judged by the spread of what should stand still.

The ratio test of process industry (Cao and Rhinehart, J. Process Control 5
(1995) 363) compares two estimates of variance and takes the noise as
uncorrelated from one value to the next. Its ratio is about 1/(1-r) for noise
with a correlation r at lag one: 5 where r is 0.8, as it is of a boat's speed at
one second, against a critical value near 2. Hence slopes with corrected errors
instead.

# Uncertainty

The mean of a window has the standard error of correlated data, by the spectral
density at zero of an autoregressive model (stat.MeanOf), and Student's t with
the effective number of values. Means are taken over a whole number of wave
encounter periods. Two things are added that repetition within a window does
not show: the slow part of the satellite receiver's error (gnssFloor) and the
rounding of the fuel rate (roundingError). Steps combine passes with the
weights of the current fit; variances add and degrees of freedom combine by
Welch and Satterthwaite. Economy takes the correlation of speed and burn within
a window into account (ratioError).

# What people may change

A person can take windows out, or declare several to be one pass; nothing else,
and never what was found. Each amendment is applied whole or refused with a
reason, and can be withdrawn (amend.go).

# Assumptions

Speed through water is the same on both courses of a step up to what their mean
cancels; the current is the same over the trial area and changes smoothly; the
fuel meter is right. FuelCheck tests the last against trip totals, tank level
and a measured top-up, and is told beside the figures: nothing is corrected by
it.
*/
package calc
