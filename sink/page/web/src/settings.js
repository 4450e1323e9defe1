// What the person at the screen prefers, kept in this browser.

const KEY = "trialday"
const choices = { units: ["", "metric", "us"], zone: ["local", "utc"], scheme: ["auto", "day", "night"] }
const listeners = new Set()
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
  apply()
  for (const f of listeners) f(name)
}

// changed calls f after every change; the result stops that.
export function changed(f) {
  listeners.add(f)
  return () => listeners.delete(f)
}

const dark = matchMedia("(prefers-color-scheme: dark)")
dark.addEventListener("change", () => {
  apply()
  for (const f of listeners) f("scheme")
})

export function night() {
  return settings.scheme === "night" || (settings.scheme === "auto" && dark.matches)
}

export function apply() {
  document.documentElement.dataset.scheme = night() ? "night" : "day"
}

// us tells whether US units stand first; the trial's own choice holds until
// the person makes one.
export function us(trial) {
  return (settings.units || trial?.units || "metric") === "us"
}
