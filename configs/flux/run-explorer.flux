// Run explorer: every run of the day, in order, with its kind and speeds.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "runs" and r.vessel == "${vessel}" and r.trial == "${trial}")
  |> drop(columns: ["run"])
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> group()
  |> sort(columns: ["_time"])
  |> keep(columns: ["_time", "run", "kind", "start", "end", "duration_s", "sog_min_kn", "sog_mean_kn", "sog_max_kn", "points"])
