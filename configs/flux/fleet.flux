// Fleet: one row for each trial of every vessel.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "trials")
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> group()
  |> sort(columns: ["vessel", "_time"])
  |> drop(columns: ["_start", "_stop", "_measurement"])
