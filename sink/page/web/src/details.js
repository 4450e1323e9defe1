// What was found beside steady windows: accelerations, turns and stops, and
// what engines and gears did.
import { box, h, table } from "./dom.js"
import { DASH, bearing, capital, clock, fixed, known, length, listed, plusMinus, scaled, seconds, sentence, unit } from "./format.js"

// plain is a figure with its interval, where there is one under its key.
function plain(of, key, d, convert = (x) => x) {
  const i = of.intervals?.[key], k = convert(1)
  return known(of[key]) ? [fixed(convert(of[key]), d), " ", i && h("small", null, plusMinus(scaled(i, k), d))] : DASH
}
const interval = (i, d) => (i ? [fixed(i.mean, d), " ", h("small", null, plusMinus(i, d))] : DASH)
const none = (t) => h("p", { class: "none" }, t)
const part = (title, ...body) => h("div", { class: "part" }, h("h3", null, title), body)
const more = (n) => n > 0 && h("p", { class: "small" }, `${n} more were found than are listed.`)

function manoeuvres(c) {
  const r = c.results
  return { element: h("div", null, part("Accelerations", accelerations(c)), part("Turning circles", turns(c)), part("Crash stops", stops(c)),
    h("p", { class: "small" }, "Through the water, where the current is known.", lag(r)), more(r.manoeuvres_not_listed)) }
}

function lag(r) {
  const v = r.velocity_lag
  return v?.filter_s && ` The receiver's velocity is late by ${unit(fixed(v.filter_s.mean + (v.latency_s?.mean ?? 0), 2), "s")}${v.measured ? "" : ", by what is usual"}; that is taken out.`
}

// accelerations has a column for each speed that was reached.
function accelerations(c) {
  const r = c.results
  if (!r.accelerations.length) return none("None was found.")
  const key = c.sys.us ? "to_speeds_mph" : "to_speeds", field = c.sys.us ? "speed_mph" : "speed_kn", name = c.sys.us ? "mph" : "kn"
  const speeds = [...new Set(r.accelerations.flatMap((a) => a[key].map((t) => t[field])))].sort((a, b) => a - b)
  const columns = [{ title: "Start" }, { title: "From", text: true }, { title: "Heading" }, { title: "rpm" },
    ...speeds.map((v) => ({ title: `to ${fixed(v)}`, unit: name + ", s" })), { title: "To plane", unit: "s" }, { title: "Most", unit: "m/s²" }, { title: "Bow up", unit: "°" }]
  const times = (a) => speeds.map((v) => interval(a[key].find((t) => t[field] === v)?.seconds, 1))
  const from = (a) => (a.from_rest ? "rest" : "idle ahead")
  const rows = r.accelerations.map((a) => ({ cells: [clock(a.start), from(a), bearing(a.heading_deg), fixed(a.rpm), ...times(a), interval(a.to_plane_s, 1), fixed(a.peak_m_per_s2, 1), fixed(a.peak_pitch_deg, 1)] }))
  for (const m of r.acceleration_means.filter((x) => x.attempts > 1)) {
    rows.push({ attributes: { class: "selected" }, cells: [`mean of ${m.attempts}`, from(m), m.reciprocal ? "both ways" : "one way", fixed(m.rpm), ...times(m), interval(m.to_plane_s, 1), fixed(m.peak_m_per_s2, 1), DASH] })
  }
  return box("Accelerations", table("Accelerations", columns, rows, { class: "data", quiet: true }))
}

function turns(c) {
  const sys = c.sys, len = sys.lengthUnit
  if (!c.results.turns.length) return none("None was found.")
  return box("Turning circles", table("Turning circles", [{ title: "Start" }, { title: "To", text: true }, { title: "Entry", unit: "kn" }, { title: "Steady", unit: "kn" },
    { title: "90°", unit: "s" }, { title: "180°", unit: "s" }, { title: "360°", unit: "s" }, { title: "Advance", unit: len }, { title: "Transfer", unit: len },
    { title: "Tactical diameter", unit: len }, { title: "Steady diameter", unit: len }, { title: "", unit: "lengths" }, { title: "Rate", unit: "°/s" }, { title: "Heel, first", unit: "°" }, { title: "settled", unit: "°" }],
  c.results.turns.map((t) => ({ cells: [clock(t.start), t.direction, ...["entry_speed_kn", "steady_speed_kn", "time_90_s", "time_180_s", "time_360_s"].map((k) => plain(t, k, 1)),
    ...["advance_m", "transfer_m", "tactical_diameter_m", "steady_diameter_m"].map((k) => plain(t, k, 0, sys.length)),
    ...["diameter_lengths", "rate_of_turn_deg_per_s", "heel_peak_deg", "heel_settled_deg"].map((k) => plain(t, k, 1))] })), { class: "data", quiet: true }))
}

function stops(c) {
  const sys = c.sys, len = sys.lengthUnit
  if (!c.results.stops.length) return none("None was found.")
  return box("Crash stops", table("Crash stops", [{ title: "Start" }, { title: "Entry", unit: "kn" }, { title: "Time", unit: "s" }, { title: "Astern after", unit: "s" },
    { title: "Track reach", unit: len }, { title: "Head reach", unit: len }, { title: "Over ground", unit: len }],
  c.results.stops.map((s) => ({ cells: [clock(s.start), plain(s, "entry_speed_kn", 1), interval(s.seconds, 1), plain(s, "astern_s", 1),
    ...["track_reach_m", "head_reach_m", "ground_path_m"].map((k) => plain(s, k, 0, sys.length))] })), { class: "data", quiet: true }))
}

function engines(c) {
  const r = c.results
  return { element: h("div", null,
    part("Engines", table_(c)), r.engine_out.length > 0 && part("Fewer engines", engineOut(r)),
    r.slow_speed.length > 0 && part("Handling at idle", slow(r)),
    part("Gears", engagement(r), shifts(r))) }
}

function table_(c) {
  const r = c.results, law = r.propulsion?.engines ?? []
  if (!r.vessel.engines.length) return none("No engine is configured or was heard.")
  return [box("Engines", table("Engines", [{ title: "Engine" }, { title: "Rated", unit: "kW" }, { title: "at", unit: "rpm" }, { title: "Top", unit: "rpm" }, { title: "Load there", unit: "%" }, { title: "Burn beside the mean", unit: "%" }, { title: "Engine and propeller", text: true }],
    r.vessel.engines.map((e) => {
      const p = law.find((x) => x.engine === e.name), f = (r.fuel_check?.engines ?? []).find((x) => x.engine === e.name)
      return { cells: [capital(e.name), fixed(e.rated_power_kw), fixed(e.rated_rpm), fixed(p?.top_rpm), fixed(p?.top_load_pct), interval(f?.imbalance_pct, 1), sentence(p?.statement) || DASH] }
    }), { class: "data", quiet: true }))]
}

function engineOut(r) {
  return box("Fewer engines", table("Stretches on some of the engines", [{ title: "Start" }, { title: "Length" }, { title: "Driving", text: true }, { title: "Neutral", text: true }, { title: "Stopped", text: true }, { title: "Speed", unit: "kn" }],
    r.engine_out.map((e) => ({ cells: [clock(e.start), length(seconds(e.end) - seconds(e.start)), listed(e.driving) || DASH, listed(e.neutral) || DASH, listed(e.stopped) || DASH, fixed(e.sog_kn, 1)] })), { class: "data", quiet: true }))
}

function slow(r) {
  return box("Handling at idle", table("Handling at idle", [{ title: "Engines" }, { title: "Gear", text: true }, { title: "rpm" }, { title: "Speed", unit: "kn" }, { title: "Turns at most", unit: "°/s" }, { title: "For", unit: "s" }, { title: "Times" }],
    r.slow_speed.map((x) => ({ cells: [listed(x.engines), x.gear, fixed(x.rpm), fixed(x.speed_kn, 1), fixed(x.max_rate_of_turn_deg_per_s, 1), fixed(x.seconds), String(x.stretches)] })), { class: "data", quiet: true }))
}

function engagement(r) {
  if (!r.engagement.length) return none("The engines were not shifted together.")
  return box("Order of engagement", table("Engines shifted together", [{ title: "Time" }, { title: "What", text: true }, { title: "Order, s after the first", text: true }],
    r.engagement.map((e) => ({ cells: [clock(e.time), `${e.what}, ${e.gear}`, e.engines.map((n, i) => `${n} ${i ? "+" : ""}${fixed(e.delays_s[i], 2)}`).join(", ")] })), { class: "data", quiet: true }))
}

function shifts(r) {
  if (!r.gear_events.length) return none("No gear was heard to shift.")
  return h("details", null, h("summary", null, `Shifts (${r.gear_events.length})`),
    box("Shifts", table("Shifts", [{ title: "Time" }, { title: "± s" }, { title: "Engine", text: true }, { title: "From", text: true }, { title: "To", text: true }, { title: "rpm" }],
      r.gear_events.map((g) => ({ cells: [clock(g.time), known(g.error_s) ? fixed(g.error_s, 2) : DASH, g.engine, g.from, g.to, fixed(g.rpm)] })), { quiet: true })))
}

export const details = { manoeuvres, engines }
