// Turns and accelerations: speed, heading and rate of turn of one run at the
// full rate, in display units. Devices send at their own times, so a row holds
// what came at its time.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "motion" and r.vessel == "${vessel}" and r.trial == "${trial}" and r.run == "${run}")
  |> filter(fn: (r) => r._field == "speed_over_ground" or r._field == "heading" or r._field == "rate_of_turn")
  |> map(fn: (r) => ({
      _time: r._time,
      _field: if r._field == "speed_over_ground" then "speed_kn" else if r._field == "heading" then "heading_deg" else "rate_of_turn_deg_s",
      _value: if r._field == "speed_over_ground" then r._value * 3600.0 / 1852.0 else r._value * 57.29577951308232,
  }))
  |> group(columns: ["_field"])
  |> sort(columns: ["_time"])
