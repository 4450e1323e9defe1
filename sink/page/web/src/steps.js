// The table of steps, with the figures without amendments beside where a
// person amended.
import { box, h, table } from "./dom.js"
import { burnsNothing, energyCells, energyColumns } from "./electric.js"
import { DASH, bearing, digits, fixed, halfDigits, known, plusMinus, significant, unit } from "./format.js"
import { before, originalOf } from "./original.js"

export function steps(c) {
  const r = c.results, original = originalOf(r), sys = c.sys
  if (!r.steps.length) return { element: h("p", { class: "none" }, "No steady window was accepted: there is no step.") }
  const most = Math.max(...r.steps.map((s) => s.engines.length))
  const fuel = burnsNothing(r) ? [] : [{ title: "Burn", unit: sys.burnUnit }, { title: "Economy", unit: sys.economyUnit }, { title: "", unit: sys.spendUnit },
    { title: "Range", unit: "nm" }]
  const columns = [{ title: "rpm" }, { title: "Speed", unit: "kn" }, sys.us && { title: "", unit: "mph" }, ...fuel, ...(r.electric ? energyColumns(r) : []),
    { title: "Load", unit: "%" }, { title: "Trim", unit: "°" }, { title: "Passes" }, { title: "Current", unit: "kn, sets to" }].filter(Boolean)
  const places = { speed: halfDigits(r.steps.map((s) => s.speed_kn), 1), burn: halfDigits(r.steps.map((s) => sys.burnOf(s.fuel_lph)), 1),
    economy: digits(Math.min(...r.steps.map((s) => sys.economyOf(s.economy_nm_per_l)?.mean).filter(known))) }
  const earlier = { ...c, results: { ...r, electric: r.electric && r.original_electric } }
  const rows = r.steps.flatMap((s) => {
    const was = original && before(original, s)
    const row = { attributes: { class: marks(r, s).length ? "selected" : null }, cells: cells(c, s, most, places) }
    if (!original || same(was, s)) return [row]
    return [row, { attributes: { class: "original" }, cells: was
      ? cells(earlier, was, most, places, "without amendments") : ["no step without amendments", ...columns.slice(1).map(() => "")] }]
  })
  for (const s of original ?? []) {
    if (!r.steps.some((x) => before(original, x) === s)) rows.push({ attributes: { class: "original" }, cells: cells(earlier, s, most, places, "without amendments; no step with them") })
  }
  return { element: h("div", null,
    box("Steps", table("Steps by rpm", columns, rows, { class: "steps wide", quiet: true })),
    h("p", { class: "small" }, "± is half of the 95 % interval. Speed is through the water with the current taken out; in one direction only it is over ground. Trim is the bow-up angle. A dash is a figure that could not be derived.",
      original && " Lines in italics are the figures without amendments.")) }
}

const same = (a, b) => a && JSON.stringify([a.speed_kn, a.fuel_lph, a.windows, a.passes]) === JSON.stringify([b.speed_kn, b.fuel_lph, b.windows, b.passes])

export function marks(r, s) {
  const b = r.best, m = []
  if (b.top_speed_step === s.id) m.push("top speed")
  if (r.electric?.best.best_energy_step === s.id) m.push("least energy")
  else if (r.electric?.best.best_planing_energy_step === s.id) m.push("least energy on plane")
  if (b.best_economy_step === s.id) m.push("best economy")
  else if (b.best_planing_economy_step === s.id) m.push("best on plane")
  else if (b.level_economy_steps.includes(s.id)) m.push("level")
  if (b.cruise_step === s.id) m.push("near cruise")
  return m
}

const figure = (i, d, places) => (i ? [fixed(i.mean, d), " ", h("small", null, plusMinus(i, d, places))] : DASH)

function cells(c, s, most, places, label = "") {
  const sys = c.sys, e = sys.economyOf(s.economy_nm_per_l)
  const notes = label ? [label] : [...marks(c.results, s), s.engines.length < most && `${s.engines.length} of ${most} engines`,
    !s.current_corrected && "one direction", s.fuel_from && `burn from ${s.fuel_from}`, s.note].filter(Boolean)
  return [[fixed(s.rpm), notes.length > 0 && h("small", null, " " + notes.join(", "))],
    figure(s.speed_kn, 1, places.speed), sys.us && fixed(s.speed_mph.mean, 1), ...(burnsNothing(c.results) ? [] : [figure(sys.burnOf(s.fuel_lph), 1, places.burn),
      figure(e, digits(e?.mean), places.economy), significant(sys.spend(s.economy_l_per_nm?.mean)), figure(s.range_nm, 0)]),
    ...(c.results.electric ? energyCells(c.results, s, figure) : []), fixed(s.load_pct), fixed(s.pitch_deg, 1), String(s.passes),
    s.current_corrected ? (known(s.current_kn) ? `${fixed(s.current_kn, 1)} ${bearing(s.current_set_deg)}` : DASH) : h("b", null, unit("not", "taken out"))]
    .filter((x) => x !== false)
}
