// Speed and burn against rpm, steady windows only: one row for each accepted
// window.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "windows" and r.engine == "all" and r.vessel == "${vessel}" and r.trial == "${trial}")
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> filter(fn: (r) => r.accepted)
  |> group()
  |> sort(columns: ["rpm"])
  |> keep(columns: ["_time", "window", "run", "step", "rpm", "sog_kn", "sog_kn_lo95", "sog_kn_hi95", "fuel_lph", "fuel_lph_lo95", "fuel_lph_hi95", "heading_deg"])
