// Day overview: one row with the figures of the trial, as on its sheet.
// top_speed_kn and best_economy_nm_per_l come with their 95 % interval.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "trials" and r.vessel == "${vessel}" and r.trial == "${trial}")
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> group()
  |> drop(columns: ["_start", "_stop", "_measurement"])
