// Speed against rpm, steady samples only: after pivot, "filter r.steady" is all
// it takes. Gives the mean speed over ground of the steady part of each run, kn.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "motion" and r.vessel == "${vessel}" and r.trial == "${trial}")
  |> filter(fn: (r) => r._field == "speed_over_ground" or r._field == "steady")
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> filter(fn: (r) => r.steady and exists r.speed_over_ground)
  |> group(columns: ["run"])
  |> mean(column: "speed_over_ground")
  |> map(fn: (r) => ({run: r.run, sog_kn: r.speed_over_ground * 3600.0 / 1852.0}))
  |> group()
