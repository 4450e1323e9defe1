/*
Package installation looks for what is wrong with a boat's sensors and wiring in
what they say on the day. Like all of calc it is pure: one pass over the samples
(and, for the bus itself, over the frames), memory that does not grow with the
day, no clock and no words. A finding says what was seen, with an interval, and
how likely it is that the finding is right; what it is called in words is the
business of the edge.

	cell       one second of the boat's state (cell.go), which the detectors judge by
	rest       pitch and roll of the boat at rest: zero of the sensor (rest.go)
	sign       heel in turns and trim at speed: sign of the sensor (sign.go)
	sides      which engine turns the boat which way (sides.go)
	heading    offset of the compass and what explains it (heading.go)
	series     values that stand still, jump, or come from two senders in turn, sample by sample
	           (series.go, stuck.go, spike.go, twins.go)
	claims     two devices that claim one address (claims.go)
	load       a crowded bus, and error frames (load.go)

# How sure

Where a mean is tested, the independent values are stretches of the day (a turn,
a run, half a minute at rest), not samples, which waves correlate. Student's t of
their mean gives the probability. Where hypotheses compete, as for the compass, it
is Bayes' rule with the prior stated beside it. What was counted is certain.

A detector speaks only when the probability is above its limit and the effect is
large enough to matter on the sheet; both limits stand beside it.
*/
package installation
