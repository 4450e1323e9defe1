// Day overview: speed of each engine through the day, rpm, mean of each period.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "engine" and r._field == "engine_speed" and r.vessel == "${vessel}" and r.trial == "${trial}")
  |> group(columns: ["engine"])
  |> aggregateWindow(every: v.windowPeriod, fn: mean, createEmpty: false)
  |> map(fn: (r) => ({_time: r._time, engine: r.engine, rpm: r._value * 60.0}))
