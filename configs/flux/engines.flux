// Engine by engine: rpm and burn of each in every accepted window, and how far
// its burn is from the mean of the engines of that window, %.
rows = from(bucket: "${bucket}")
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "windows" and r.engine != "all" and r.vessel == "${vessel}" and r.trial == "${trial}")
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> filter(fn: (r) => r.accepted and exists r.fuel_lph and exists r.rpm)
  |> keep(columns: ["_time", "window", "engine", "rpm", "fuel_lph"])

means = rows
  |> group(columns: ["window"])
  |> mean(column: "fuel_lph")

join(tables: {one: rows |> group(), all: means |> group()}, on: ["window"])
  |> map(fn: (r) => ({
      _time: r._time,
      window: r.window,
      engine: r.engine,
      rpm: r.rpm,
      fuel_lph: r.fuel_lph_one,
      from_mean_pct: 100.0 * (r.fuel_lph_one / r.fuel_lph_all - 1.0),
  }))
  |> group(columns: ["engine"])
  |> sort(columns: ["rpm"])
