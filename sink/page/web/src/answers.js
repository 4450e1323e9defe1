// The four answers people came for, and what they ask next.
import { h } from "./dom.js"
import { burnsNothing, energyAnswers } from "./electric.js"
import { DASH, capital, digits, fixed, known, listed, plusMinus, significant, unit, MPH } from "./format.js"

export function answers(c) {
  const earlier = before(c)
  return h("section", { "aria-label": "Answers" },
    h("div", { class: "answers" }, figures(c).map((a, i) => h("div", { class: "answer" },
      h("h2", null, a.label),
      h("p", { class: "value" }, h("span", { class: a.value === DASH ? "big none" : "big" }, a.value), a.unit && h("span", { class: "unit" }, " " + a.unit)),
      a.pm && h("p", null, unit(a.pm, a.unit)),
      a.lines.filter(Boolean).map((l) => h("p", null, l)),
      earlier && brief(earlier[i]) !== brief(a) && h("p", { class: "original" }, "Without amendments: " + brief(earlier[i])),
      a.caveat && h("p", { class: "caveat" }, a.caveat)))),
    also(c), amended(c.results))
}

// before gives the answers without amendments; null where none is in force.
function before(c) {
  const r = c.results
  return r.original_best ? figures({ ...c, results: { ...r, best: r.original_best, steps: r.original_steps, electric: r.original_electric } }) : null
}

// brief is an answer in a line.
const brief = (a) => (a.value === DASH ? "none" : [unit([a.value, a.pm].filter(Boolean).join(" "), a.unit), a.at].join(" "))

// amended says that the answers are not those of the measurement alone.
function amended(r) {
  const n = (r.amendments ?? []).filter((a) => a.applied && a.action !== "withdraw").length
  return n > 0 && h("p", { class: "caveat" }, `Amended by a person: ${n === 1 ? "one amendment is" : n + " amendments are"} in force, listed under Windows. The figures without stand in italics beside those that they change.`)
}

const step = (r, id) => (id == null ? null : r.steps.find((s) => s.id === id) ?? null)

function figures(c) {
  const r = c.results, batteries = r.electric ? energyAnswers(r, (label, ...about) => absent(r, label, ...about), atRPM, caveat) : []
  return burnsNothing(r) ? [top(c), ...batteries] : [top(c), economy(c), cruise(c), range(c), ...batteries]
}

function absent(r, label, ...about) {
  const m = about.map((word) => r.missing.find((x) => x.figure.toLowerCase().includes(word))).find(Boolean)
  const why = m?.why || (r.steps.length ? "The day's steps do not reach it." : "No steady window was accepted.")
  return { label, value: DASH, unit: "", pm: "", lines: [capital(why)] }
}

const atRPM = (rpm) => `at ${unit(fixed(rpm), "rpm")}`
const caveat = (s) => (s.current_corrected ? "" : "One direction only: current not taken out")
const fuelCaveat = (s) => [caveat(s), s.fuel_from && `Burn from ${s.fuel_from}`].filter(Boolean).join(". ")
const burn = (c, lph, from) => (known(lph) ? unit(fixed(c.sys.burn(lph), 1), c.sys.burnUnit) + (from ? `, from ${from}` : "") : "")

function top(c) {
  const r = c.results, s = step(r, r.best.top_speed_step)
  if (!s) return absent(r, "Top speed", "top speed", "speed")
  return { label: "Top speed", value: fixed(s.speed_kn.mean, 1), unit: "kn", pm: plusMinus(s.speed_kn, 1), caveat: caveat(s),
    at: atRPM(s.rpm), lines: [c.sys.also(s.speed_kn.mean), atRPM(s.rpm), burn(c, s.fuel_lph?.mean, s.fuel_from)] }
}

function economy(c) {
  const r = c.results, on = step(r, r.best.best_planing_economy_step), overall = step(r, r.best.best_economy_step)
  const s = on ?? overall, label = on ? "Best economy on the plane" : "Best economy"
  if (!s?.economy_nm_per_l) return absent(r, label, "economy", "fuel")
  const e = c.sys.economyOf(s.economy_nm_per_l), d = digits(e.mean)
  const level = r.best.level_economy_steps.map((id) => step(r, id)).filter((x) => x && x !== s).map((x) => fixed(x.speed_kn.mean, 1))
  return { label, value: fixed(e.mean, d), unit: c.sys.economyUnit, pm: plusMinus(e, d), caveat: fuelCaveat(s),
    at: atRPM(s.rpm), lines: [
    unit(significant(c.sys.spend(s.economy_l_per_nm?.mean)), c.sys.spendUnit),
    `${unit(fixed(s.speed_kn.mean, 1), "kn")} ${atRPM(s.rpm)}`, burn(c, s.fuel_lph?.mean),
    level.length > 0 && `Level with it: ${unit(listed(level), "kn")}`,
    overall && overall !== s && overall.economy_nm_per_l &&
      `Best at any speed: ${unit(significant(c.sys.economy(overall.economy_nm_per_l.mean)), c.sys.economyUnit)} at ${unit(fixed(overall.speed_kn.mean, 1), "kn")}`] }
}

function cruise(c) {
  const r = c.results, k = r.best.cruise, near = step(r, r.best.cruise_step)
  if (!k && !near) return absent(r, "Cruise", "cruise", "load")
  if (!k) {
    return { label: "Near cruise", value: fixed(near.speed_kn.mean, 1), unit: "kn", pm: plusMinus(near.speed_kn, 1), caveat: caveat(near),
      at: atRPM(near.rpm), lines: [c.sys.also(near.speed_kn.mean), atRPM(near.rpm), burn(c, near.fuel_lph?.mean, near.fuel_from), "No two steps enclose the cruise load."] }
  }
  return { label: `Cruise at ${unit(fixed(k.load_pct), "%")} load`, value: fixed(k.speed_kn, 1), unit: "kn", pm: "",
    at: atRPM(k.rpm), lines: [c.sys.also(k.speed_kn), atRPM(k.rpm), burn(c, k.fuel_lph, r.steps.find((s) => s.fuel_from)?.fuel_from),
      known(k.economy_nm_per_l) && unit(significant(c.sys.economy(k.economy_nm_per_l)), c.sys.economyUnit), "between two steps"] }
}

function range(c) {
  const r = c.results, on = step(r, r.best.best_planing_economy_step), s = on ?? step(r, r.best.best_economy_step)
  const label = on ? "Best range on the plane" : "Best range"
  if (!s?.range_nm) return absent(r, "Range", "range", "tank", "fuel")
  const k = r.best.cruise, at = `at ${unit(fixed(s.speed_kn.mean, 1), "kn")}`
  return { label, value: fixed(s.range_nm.mean), unit: "nm", pm: plusMinus(s.range_nm, 0), caveat: fuelCaveat(s),
    at, lines: [
    c.sys.us && unit(fixed(s.range_nm.mean * MPH), "mi"), at,
    known(r.vessel.usable_l) && `on ${unit(fixed(c.sys.volume(r.vessel.usable_l)), c.sys.volumeUnit)}, ${unit(fixed(r.vessel.reserve_pct), "%")} kept back`,
    known(k?.range_nm) && `At cruise: ${unit(fixed(k.range_nm), "nm")}`] }
}

// also is one quiet row: how quickly, how tightly, how far to stop.
function also(c) {
  const r = c.results, pairs = []
  const fastest = (list, ok) => list.filter(ok).sort((a, b) => (b.entry_speed_kn ?? 0) - (a.entry_speed_kn ?? 0))[0]
  const mean = r.acceleration_means.toSorted((a, b) => b.engines.length - a.engines.length || (b.rpm ?? 0) - (a.rpm ?? 0))[0]
  if (mean?.to_plane_s) pairs.push(["To plane", `${unit(fixed(mean.to_plane_s.mean, 1), "s")} ${plusMinus(mean.to_plane_s, 1)}`])
  const max = step(r, r.best.top_speed_step)?.speed_kn.mean ?? Infinity
  const far = mean?.to_speeds.filter((t) => t.speed_kn <= 0.9 * max).at(-1)
  if (far) pairs.push([`${mean.from_rest ? "0" : "Idle"} to ${unit(fixed(far.speed_kn), "kn")}`, `${unit(fixed(far.seconds.mean, 1), "s")} ${plusMinus(far.seconds, 1)}`])
  for (const side of ["port", "starboard"]) {
    const t = fastest(r.turns, (x) => x.direction === side && known(x.time_360_s))
    if (t) pairs.push([`360° to ${side}`, [unit(fixed(t.time_360_s), "s"), known(t.steady_diameter_m) && `${unit(fixed(c.sys.length(t.steady_diameter_m)), c.sys.lengthUnit)} across`].filter(Boolean).join(", ")])
  }
  const stop = fastest(r.stops, (x) => x.seconds)
  if (stop) pairs.push([`Crash stop from ${unit(fixed(stop.entry_speed_kn), "kn")}`, [unit(fixed(stop.seconds.mean, 1), "s"), known(stop.track_reach_m) && unit(fixed(c.sys.length(stop.track_reach_m)), c.sys.lengthUnit)].filter(Boolean).join(", ")])
  return pairs.length > 0 && h("dl", { class: "more" }, pairs.map(([k, v]) => h("div", null, h("dt", null, k), h("dd", null, v))))
}
