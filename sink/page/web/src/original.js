// What the figures were before anybody amended them.

// originalOf returns the steps as first derived, null where no amendment is in
// force.
export const originalOf = (r) => (r.original_steps?.length ? r.original_steps : null)

// before finds the original step that an amended one stands for: the one it
// shares most windows with.
export function before(original, step) {
  let best = null, most = 0
  for (const s of original ?? []) {
    const shared = s.windows.filter((w) => step.windows.includes(w)).length
    if (shared > most) [best, most] = [s, shared]
  }
  return best
}
