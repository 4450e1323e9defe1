// Package influx sends a trial to a time series server: version 2.x of
// InfluxDB, or 1.8 by the same v2 interface (bucket "database/retention", token
// "user:password").
//
// The journal is the queue. A Sink reads it from the beginning, makes the same
// points of it every time, and leaves out as many as its cursor says the server
// has confirmed. There is no second spool, and memory does not grow with the
// backlog: while a batch is on its way a few more are made and packed.
//
// # Invariants
//
//   - The points are a function of the frames, the configuration and the version
//     of the program, in a fixed order. So a cursor is a number of points.
//   - A point has the same time, tags and fields whenever it is sent. Sent twice
//     it is stored once, so the cursor may lag behind but never run ahead: it is
//     moved only after the server has confirmed, and saved each second.
//   - What is written is final. No point is ever sent again under another tag
//     or at another time.
//   - Nothing of the token stands in a log, an error or the configuration.
//
// # When a point leaves
//
// Samples leave when the run that holds them has ended, so that their run and
// whether they are steady are known: the lag is the length of the present run,
// two hours at the most, and about 10 s. They also wait until GNSS time is known
// on their side of every pause whose length had to be guessed. The line to UTC
// used is the one known at that frame, the same whether the journal is read
// live or later; the line that results.json uses at the end of the day may
// differ from it by what the receivers' delays vary, some ten milliseconds.
//
// At the end of a trial that is closed all that is left leaves. Where GNSS time
// was never heard the times are those of the recorder's own clock, and the field
// clock_known of trials and quality is false.
//
// # Failures
//
// Where no answer comes, or the server is in trouble, the batch is sent again
// after 1 s, 2 s and so on up to 5 min, less a random part of up to half; never
// before the time that the server asks for (Retry-After). Where it refuses (token,
// bucket, certificate) it is tried again every 5 min with the token read anew;
// a Sink that runs once gives up instead. A point that the server rejects is found
// by halving the batch, told and left out. Where it rejects every point nothing is
// left out. A Sink that was stopped makes all points of the journal again when it
// is started, which takes a minute for a whole day on a full bus, and goes on
// where the cursor is.
//
// While behind it sends influx.catch_up_hz points a second at the most, and one for
// an older trial waits while that of the present one (Options.After) is sending.
//
// # Servers
//
// VictoriaMetrics takes the same writes, but keeps milliseconds and numbers only,
// and stores a point once only with -dedup.minScrapeInterval=1ms. Verify and the
// queries of configs/flux need Flux: InfluxDB 2.x, or 1.8 with flux-enabled.
//
// # Schema
//
// Times are UTC in nanoseconds. Samples of one message are one point. A sample
// without a valid value is not written; quality counts it. Two points of one
// series at one time would be one: the later is moved by 1 ns.
//
// Samples, in SI units under the names of pgn.Quantity, as in the other exports:
//
//	engine       engine_speed, fuel_rate, engine_load, ...; tag engine
//	motion       speed_over_ground, course_over_ground, heading, pitch, roll,
//	             rate_of_turn, speed_through_water, rudder_angle, trim tabs
//	position     latitude, longitude, altitude, hdop, satellites
//	environment  depth, wind, temperatures, pressure, variation
//	tank         fluid_level, fluid_capacity; tag tank, such as "fuel 0"
//	battery      battery_voltage, battery_current, state_of_charge; tag battery
//
// All have the tags vessel, trial, run and source (interface/address), and the
// field steady: whether they lie in an accepted window. Speeds are in m/s,
// engine speeds in 1/s, angles in rad, fuel rates in m³/s.
//
// Intervals, in the units that stand in the names of their fields, as in
// results.json; the time is the start:
//
//	runs     kind, start, end, duration_s, samples, sog_min_kn, sog_mean_kn,
//	         sog_max_kn; tag run
//	windows  window, accepted, reason, step, start, end and figures, with lo95
//	         and hi95; tags run and engine ("all" for the boat as a whole)
//	steps    step, start, end and figures; tag engine likewise. Where batteries
//	         drive the boat also driven_by (battery, fuel, ...), battery_power_kw,
//	         battery_energy_wh_per_nm, battery_economy_nm_per_kwh and
//	         battery_range_nm, of the batteries alone
//	trials   start, end, the best figures of the day, clock_known
//	quality  what was read and lost in a run, and clock_uncertainty_s; tag run
//
// start and end are nanoseconds since 1970. The field step of windows, and steps
// and trials as a whole, follow when the trial is closed.
//
// # Cardinality
//
// The tag run has at most MaxRuns+1 values in a trial, source MaxSources+1, tank
// and battery 17 each, engine 9. A run has at most MaxRunSeries series; when it
// has RunSeries, further ones have source "other". MaxSeries bounds a trial. A
// trial has the name of its directory in the logbook, so neither tag grows with
// anything but the number of boats and trials.
//
// # Thinning
//
// Runs under way (held throttle, accelerating, turning, slowing) are sent at the
// full rate. At rest and manoeuvring each quantity is thinned to influx.rate_hz,
// or what influx.thin says for it, by taking the first sample of each period of
// trial time.
package influx
