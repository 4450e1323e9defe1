// Day overview: speed over ground through the day, kn, mean of each period.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "motion" and r._field == "speed_over_ground" and r.vessel == "${vessel}" and r.trial == "${trial}")
  |> group()
  |> aggregateWindow(every: v.windowPeriod, fn: mean, createEmpty: false)
  |> map(fn: (r) => ({_time: r._time, speed_kn: r._value * 3600.0 / 1852.0}))
