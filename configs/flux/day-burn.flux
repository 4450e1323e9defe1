// Day overview: fuel rate of each engine through the day, L/h, mean of each period.
from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "engine" and r._field == "fuel_rate" and r.vessel == "${vessel}" and r.trial == "${trial}")
  |> group(columns: ["engine"])
  |> aggregateWindow(every: v.windowPeriod, fn: mean, createEmpty: false)
  |> map(fn: (r) => ({_time: r._time, engine: r.engine, fuel_lph: r._value * 3600000.0}))
