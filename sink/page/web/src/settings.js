// What the person at the screen prefers, kept in this browser.

const KEY = "trialday"
const choices = { units: ["", "metric", "us"], zone: ["local", "utc"], scheme: ["auto", "day", "night"] }
const listeners = new Set(), painters = new Set()
let kept = {}
try {
  kept = JSON.parse(localStorage.getItem(KEY)) ?? {}
} catch { /* private browsing keeps nothing: the defaults hold */ }

export const settings = {}
for (const [name, allowed] of Object.entries(choices)) {
  settings[name] = allowed.includes(kept[name]) ? kept[name] : allowed[0]
}

export function set(name, value) {
  settings[name] = value
  try {
    localStorage.setItem(KEY, JSON.stringify(settings))
  } catch { /* see above */ }
  if (name === "scheme") apply()
  else for (const f of listeners) f()
}

// changed calls f after every change of units or times; the result stops that.
export const changed = (f) => listen(listeners, f)

// repainted calls f when what is drawn needs other colours; the result stops
// that.
export const repainted = (f) => listen(painters, f)

function listen(set, f) {
  set.add(f)
  return () => set.delete(f)
}

const dark = matchMedia("(prefers-color-scheme: dark)"), paper = matchMedia("print")
for (const m of [dark, paper]) m.addEventListener("change", apply)
// The query may change too late for canvases; the event does not.
addEventListener("beforeprint", () => apply("day"))
addEventListener("afterprint", apply)

// apply sets the scheme; on paper it is day.
export function apply(only) {
  const night = settings.scheme === "night" || (settings.scheme === "auto" && dark.matches)
  const scheme = only === "day" || paper.matches || !night ? "day" : "night"
  if (document.documentElement.dataset.scheme === scheme) return
  document.documentElement.dataset.scheme = scheme
  for (const f of painters) f()
}

// us tells whether US units stand first; the trial's own choice holds until
// the person makes one.
export function us(trial) {
  return (settings.units || trial?.units || "metric") === "us"
}
