// Figures as text. A figure that there is not is a dash, never zero.
import { settings } from "./settings.js"

export const DASH = "–"
const NBSP = "\u00a0"

const L_PER_USGAL = 3.785411784 // NIST SP 811, B.8
const FEET = 1 / 0.3048 // NIST SP 811, B.8
const POUNDS = 1 / 0.45359237 // NIST SP 811, B.8
export const MPH = 1.852 / 1.609344 // NIST SP 811, B.8

export const known = (x) => typeof x === "number" && Number.isFinite(x)

export function fixed(x, decimals = 0) {
  if (!known(x)) return DASH
  const t = x.toFixed(decimals)
  return Number(t) === 0 ? t.replace("-", "") : t.replace("-", "\u2212")
}

// significant gives three digits that count.
export function significant(x) {
  return fixed(x, digits(x))
}

export function digits(x) {
  if (!known(x) || x === 0) return 0
  return Math.min(4, Math.max(0, 2 - Math.floor(Math.log10(Math.abs(x)))))
}

export function half(i) {
  return i && known(i.lo95) && known(i.hi95) ? (i.hi95 - i.lo95) / 2 : null
}

// halfDigits is how many decimals the half intervals of a column have: one more
// than its values where most would have no digit that counts.
export function halfDigits(intervals, decimals) {
  const halves = intervals.map(half).filter((x) => x != null)
  return 2 * halves.filter((x) => x < 10 ** -decimals).length > halves.length ? decimals + 1 : decimals
}

// plusMinus is half of an interval; by itself it has one decimal more where it
// would have no digit that counts.
export function plusMinus(i, decimals, places = halfDigits([i], decimals)) {
  const x = half(i)
  if (x == null) return ""
  const few = fixed(x, places)
  return "±" + NBSP + (x > 0 && Number(few) === 0 ? fixed(x, places + 1) : few)
}

export function scaled(i, k) {
  if (i == null) return null
  return { mean: i.mean * k, lo95: known(i.lo95) ? i.lo95 * k : null, hi95: known(i.hi95) ? i.hi95 * k : null }
}

export const unit = (value, name) => value + NBSP + name
export const thousands = (n) => (known(n) ? n.toLocaleString("en-GB").replaceAll(",", NBSP) : DASH)
export const words = (t) => String(t ?? "").replaceAll("_", " ")
// capital leaves a key of the configuration, such as fuel.tank_l, as it is.
export const capital = (t) => (/^\w+\.\w/.test(t) ? t : t.charAt(0).toUpperCase() + t.slice(1))
export const bearing = (deg) => (known(deg) ? String(((Math.round(deg) % 360) + 360) % 360).padStart(3, "0") + "°" : DASH)

// sentence begins with a capital and ends with a stop.
export function sentence(t) {
  const whole = capital(String(t ?? "").trim())
  return !whole || /[.!?]$/.test(whole) ? whole : whole + "."
}

// system is how quantities are shown. Knots and nautical miles belong to
// neither system and stand first in both.
export function system(us) {
  const k = us ? 1 / L_PER_USGAL : 1
  return {
    us,
    burnUnit: us ? "US gal/h" : "L/h",
    economyUnit: us ? "nm/US gal" : "nm/L",
    spendUnit: us ? "US gal/nm" : "L/nm",
    lengthUnit: us ? "ft" : "m",
    massUnit: us ? "lb" : "kg",
    volumeUnit: us ? "US gal" : "L",
    burn: (lph) => (known(lph) ? lph * k : null),
    economy: (nmPerL) => (known(nmPerL) ? nmPerL / k : null),
    spend: (lPerNM) => (known(lPerNM) ? lPerNM * k : null),
    length: (m) => (known(m) ? m * (us ? FEET : 1) : null),
    mass: (kg) => (known(kg) ? kg * (us ? POUNDS : 1) : null),
    volume: (l) => (known(l) ? l * k : null),
    burnOf: (i) => scaled(i, k),
    economyOf: (i) => scaled(i, 1 / k),
    // also is a speed in the unit that stands second, for US readers.
    also: (kn) => (us && known(kn) ? unit(fixed(kn * MPH, 1), "mph") : ""),
  }
}

const pad = (n) => String(n).padStart(2, "0")

function parts(t) {
  const d = t instanceof Date ? t : new Date(t)
  if (Number.isNaN(d.getTime())) return null
  return settings.zone === "utc"
    ? [d.getUTCFullYear(), d.getUTCMonth(), d.getUTCDate(), d.getUTCHours(), d.getUTCMinutes(), d.getUTCSeconds()]
    : [d.getFullYear(), d.getMonth(), d.getDate(), d.getHours(), d.getMinutes(), d.getSeconds()]
}

export function clock(t, seconds = true) {
  const p = t && parts(t)
  if (!p) return DASH
  return pad(p[3]) + ":" + pad(p[4]) + (seconds ? ":" + pad(p[5]) : "")
}

const months = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"]

export function date(t) {
  const p = t && parts(t)
  return p ? `${p[2]} ${months[p[1]]} ${p[0]}` : DASH
}

// zoneName states which zone times are in.
export function zoneName(t) {
  if (settings.zone === "utc") return "UTC"
  const d = t ? new Date(t) : new Date()
  const m = -d.getTimezoneOffset()
  if (m === 0) return "UTC"
  const sign = m < 0 ? "\u2212" : "+"
  const name = Intl.DateTimeFormat().resolvedOptions().timeZone
  return `UTC${sign}${pad(Math.floor(Math.abs(m) / 60))}:${pad(Math.abs(m) % 60)}` + (name ? `, ${name}` : "")
}

export const seconds = (t) => Date.parse(t) / 1000

// length tells a stretch of time in words.
export function length(s) {
  if (!known(s)) return DASH
  s = Math.round(s)
  if (s < 120) return unit(s, "s")
  if (s < 7200) return unit(Math.floor(s / 60), "min") + (s % 60 ? " " + unit(s % 60, "s") : "")
  return unit(Math.floor(s / 3600), "h") + " " + unit(Math.floor((s % 3600) / 60), "min")
}

// minutes is a running time, 2:04.
export const minutes = (s) => Math.floor(s / 60) + ":" + pad(Math.floor(s % 60))

export function listed(items) {
  if (items.length < 2) return items.join("")
  return items.slice(0, -1).join(", ") + " and " + items.at(-1)
}
