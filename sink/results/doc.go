/*
The keys that do not explain themselves in the structure:

	schema     trialday-results/1
	clock      offset_s is UTC minus recorder time at the first frame, uncertainty_s half
	           of its 95 % interval, steps the repaired jumps
	windows    in order of time, accepted or not; step is null unless accepted and
	           not excluded (amended: excluded, merged or empty); heading_deg and cog_deg
	           true, 0 to 360; rpm and engine_fuel_lph by engine name; frames counts all
	           frames of the day from 1 in the order of reception
	amendments what people changed about how windows count: excluded ones are in no step,
	           merged ones are one pass; applied is false, and why says the reason, where
	           it could not be or was withdrawn; ids of windows are those without any
	steps      by rising rpm; speed_kn is over ground in one direction or, where
	           current_corrected, through the water; current_set_deg is where it flows to
	           note is what was noted by hand at it; original_steps are those without
	           any amendment, [] unless one is applied
	best       ids of steps, null where not derived; cruise lies between steps;
	           original_best, of ids in original_steps, is null unless an amendment is
	           applied
	fuel_check scale is the factor from the integrated fuel rate to the reference; it is
	           told, never applied
	propulsion what power, slip and law rest on stands in assumptions
	mass_reference
	           speeds at another mass, beside the measured ones; null unless asked for
	electric   not there unless batteries drive the boat, nor is power_kw of windows; power
	           is positive out of the batteries; energy and range by step are of batteries
	           alone where source is battery, and of fuel in steps where it is fuel; where
	           both take part (fuel and battery; fuel, charging) each has its part a nautical
	           mile, wh_per_nm and fuel_l_per_nm, and economy and range are null
	per_nm     cost in the currency, CO2 equivalent in kg, a nautical mile
	readings   by hand, joined by time or rpm; a step's sound_dba is their energy mean
	runs       kinds: at_rest, manoeuvring, accelerating, held_throttle, turning, slowing
	accelerations, turns, stops
	           through the water, with the current taken out where current_corrected; the
	           definitions stand in calc/manoeuvre; combined is an index in
	           acceleration_means, the mean of attempts alike; intervals of turns and
	           stops holds the 95 % interval of their plain figures by key, with the
	           sources of error of calc/manoeuvre
	gear_events, engagement, engine_out, slow_speed
	           shifts, the order of the engines in them, stretches on some of the
	           engines, handling at idle
	velocity_lag
	           how late the receiver's velocity is; taken out of the above
	missing    what is null above, and why
	findings   kind is one of roll_zero, pitch_zero, roll_sign, pitch_sign, engines_swapped,
	           heading_offset, magnetic_called_true, variation_applied_twice, velocity_lag,
	           stuck, spikes, duplicate_address, bus_load, bus_errors (all in
	           calc/installation), engine_instance_shared, engine_unlisted, fuel_rate_scale,
	           fuel_rate_tank, fuel_rate_top_up, fuel_references, engines_uneven, no_time,
	           too_many_changes, amendments_damaged, speed_from_positions, day_burn, battery_sign, burn_from_tank_level, corrected (a configured correction, applied before all else);
	           probability, that of being right, is null where it was not worked out
	quality    losses by kind; gaps of one quantity, or of "all"; frames_hash is the
	           SHA-256 of each frame's time (ns since 1970, 8 bytes), identifier (4, with
	           bit 31 for extended, 30 for remote, 29 for error frames), length (1), data
	           (8, padded with zeros) and bus name with a zero at its end, big-endian

Times are RFC 3339 in UTC with a fraction. mean, lo95 and hi95 are a mean and
the two ends of its 95 % interval; an end that could not be derived is null.
*/
package results
