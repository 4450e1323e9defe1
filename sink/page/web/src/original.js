// What the figures were before anybody amended them.

// originalOf returns {steps, best} as first derived, null where nothing is
// amended.
export function originalOf(r) {
  return r.original ?? null
}

// before finds the original step that an amended one stands for: the one it
// shares most windows with.
export function before(original, step) {
  let best = null, most = 0
  for (const s of original?.steps ?? []) {
    const shared = s.windows.filter((w) => step.windows.includes(w)).length
    if (shared > most) [best, most] = [s, shared]
  }
  return best
}
