// Economy and range: one row for each rpm step, current taken out where the
// passes allow it.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "steps" and r.engine == "all" and r.vessel == "${vessel}" and r.trial == "${trial}")
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> group()
  |> sort(columns: ["step"])
  |> drop(columns: ["_start", "_stop", "_measurement", "engine", "vessel", "trial"])
