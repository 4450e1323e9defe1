// What batteries give on a day, in words and figures; results.electric is not there
// unless batteries drive the boat.
import { DASH, fixed, known, plusMinus, significant, unit } from "./format.js"

export const burnsNothing = (r) => r.electric?.drive === "electric"

// electricOf is the electric side of a step.
export const electricOf = (r, s) => r.electric?.steps.find((e) => e.step === s.id) ?? null

const step = (r, id) => (id == null ? null : r.steps.find((s) => s.id === id) ?? null)
const rangeDecimals = (i) => (i.mean < 50 ? 1 : 0)
const miles = (i) => unit(fixed(i.mean, rangeDecimals(i)), "nm")

// energyAnswers are the batteries' answers; absent(label, ...about) is one that there
// is not.
export function energyAnswers(r, absent, atRPM, caveat) {
  const b = r.electric.best, on = step(r, b.best_planing_energy_step), overall = step(r, b.best_energy_step), s = on ?? overall
  const plane = on ? " on the plane" : "", sole = burnsNothing(r)
  return [least(), range(), day()]

  function least() {
    if (!s) return absent("Energy per mile", "energy per mile")
    const e = electricOf(r, s), other = overall !== s && electricOf(r, overall)
    return { label: `Least energy per mile${plane}` + (sole ? "" : " by batteries"), value: fixed(e.wh_per_nm.mean), unit: "Wh/nm", pm: plusMinus(e.wh_per_nm, 0),
      at: atRPM(s.rpm), caveat: caveat(s), lines: [
      e.nm_per_kwh && unit(significant(e.nm_per_kwh.mean), "nm/kWh"), `${unit(fixed(s.speed_kn.mean, 1), "kn")} ${atRPM(s.rpm)}`,
      e.power_kw && `${unit(fixed(e.power_kw.mean, 1), "kW")} from the batteries`,
      other && `Least at any speed: ${unit(fixed(other.wh_per_nm.mean), "Wh/nm")} at ${unit(fixed(overall.speed_kn.mean, 1), "kn")}, not planing`] }
  }

  function range() {
    const name = sole ? "range" : "range on batteries", i = s && electricOf(r, s).range_nm
    if (!i) return absent(sole ? "Range" : "Range on batteries", "range on batteries", "range")
    const at = `at ${unit(fixed(s.speed_kn.mean, 1), "kn")}`, top = step(r, b.top_speed_step), fast = top && top !== s && electricOf(r, top).range_nm
    return { label: `Best ${name}${plane}`, value: fixed(i.mean, rangeDecimals(i)), unit: "nm", pm: plusMinus(i, rangeDecimals(i)), at, caveat: caveat(s), lines: [
      at, `on ${unit(fixed(r.electric.range_kwh), "kWh")}, ${unit(fixed(r.electric.reserve_pct), "%")} kept back`,
      fast && `At ${unit(fixed(top.speed_kn.mean, 1), "kn")}: ${miles(fast)}`] }
  }

  function day() {
    const e = r.electric, label = sole ? "Energy of the day" : "From batteries over the day"
    if (!known(e.used_kwh)) return absent(label, "energy of the day", "energy per mile")
    return { label, value: fixed(e.used_kwh, 1), unit: "kWh", pm: "", at: "", caveat: "", lines: [
      known(e.wh_per_nm) && known(e.distance_nm) && `${unit(fixed(e.wh_per_nm), "Wh/nm")} over all ${unit(fixed(e.distance_nm, 1), "nm")} of it`,
      ...e.batteries.map((x) => known(x.charge_start_pct) && known(x.charge_end_pct) &&
        `Battery ${x.instance}: charge from ${unit(fixed(x.charge_start_pct), "%")} to ${unit(fixed(x.charge_end_pct), "%")}`),
      e.charged_kwh >= 0.05 && `${unit(fixed(e.charged_kwh, 1), "kWh")} charged besides`] }
  }
}

// energyColumns are those of the table of steps.
export const energyColumns = (r) => [{ title: "Power", unit: "kW" }, { title: "Energy", unit: "Wh/nm" },
  { title: burnsNothing(r) ? "Range" : "Range on batteries", unit: "nm" }, !burnsNothing(r) && { title: "Driven by", text: true }].filter(Boolean)

// energyCells are a step's cells below them.
export function energyCells(r, s, figure) {
  const e = electricOf(r, s)
  return [figure(e?.power_kw, 1), figure(e?.wh_per_nm, 0), figure(e?.range_nm, e?.range_nm ? rangeDecimals(e.range_nm) : 0), !burnsNothing(r) && (e?.source ?? DASH)]
    .filter((x) => x !== false)
}
