// Turns and accelerations: the runs of these kinds, with the speed lost or
// gained between their slowest and fastest sample.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "runs" and r.vessel == "${vessel}" and r.trial == "${trial}")
  |> drop(columns: ["run"])
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> filter(fn: (r) => (r.kind == "turning" or r.kind == "accelerating") and exists r.sog_min_kn)
  |> group()
  |> sort(columns: ["_time"])
  |> map(fn: (r) => ({
      _time: r._time,
      run: r.run,
      kind: r.kind,
      duration_s: r.duration_s,
      sog_min_kn: r.sog_min_kn,
      sog_max_kn: r.sog_max_kn,
      change_kn: r.sog_max_kn - r.sog_min_kn,
  }))
