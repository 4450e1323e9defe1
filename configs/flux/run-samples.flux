// Run explorer: the motion of one run at the full rate, in display units, with
// whether it is steady.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "motion" and r.vessel == "${vessel}" and r.trial == "${trial}" and r.run == "${run}")
  |> filter(fn: (r) => r._field == "speed_over_ground" or r._field == "course_over_ground" or r._field == "steady")
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> filter(fn: (r) => exists r.speed_over_ground and exists r.course_over_ground)
  |> group()
  |> sort(columns: ["_time"])
  |> map(fn: (r) => ({
      _time: r._time,
      speed_kn: r.speed_over_ground * 3600.0 / 1852.0,
      course_deg: r.course_over_ground * 57.29577951308232,
      steady: r.steady,
  }))
