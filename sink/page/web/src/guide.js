// The guidance in words: what the captain is told from one live state.
import { bearing, fixed, unit } from "./format.js"

const at = (rpm) => unit(fixed(rpm), "rpm")

// next is the pass that is missing, nearest to the engine speed held now.
export function next(live) {
  const wanted = live.steps.filter((s) => s.needs_reciprocal)
  const rpm = live.hold.rpm ?? 0
  wanted.sort((a, b) => Math.abs(a.rpm - rpm) - Math.abs(b.rpm - rpm))
  return wanted[0] ?? null
}

const passBack = (step) =>
  step.reciprocal_deg == null ? `${at(step.rpm)}, the other way` : `${at(step.rpm)} on ${bearing(step.reciprocal_deg)}`

// guidance is {state, head, how, then}: the words to be read at a glance, how
// things stand, and what comes next. Fields may be "".
export function guidance(live) {
  const hold = live.hold, step = next(live)
  const held = [hold.rpm != null && at(hold.rpm), hold.heading_deg != null && "on " + bearing(hold.heading_deg)].filter(Boolean).join(" ")
  const after = step ? `Then ${passBack(step)}: the pass back is missing.` : ""
  switch (hold.state) {
    case "steady":
      return { state: "steady", head: `Hold ${fixed(Math.ceil(hold.more_s))} s more`,
        how: `Steady for ${fixed(Math.floor(hold.steady_s))} s` + (held ? ` at ${held}` : ""), then: after }
    case "enough":
      return { state: "enough", head: "Enough",
        how: `Steady for ${fixed(Math.floor(hold.steady_s))} s` + (held ? ` at ${held}` : "") + ". This pass may end.",
        then: step ? `Next: ${passBack(step)}.` : "Next: another rpm." }
    case "settling":
      return { state: "settling", head: "Hold still",
        how: (held ? `Settling at ${held}` : "Settling") + (hold.why ? `: ${hold.why}` : ""), then: after }
  }
  if (step) {
    return { state: "free", head: `Next: ${passBack(step)}`, how: "The pass back is missing for this rpm.", then: hold.why }
  }
  return { state: "free", head: "Throttle free", how: "Hold one rpm and one course to begin a step.", then: hold.why }
}

// spoken is what a screen reader hears when the state changes: no running
// seconds.
export function spoken(g) {
  return g.state === "steady" ? `${g.head}. ${g.how}.` : [g.head, g.how].filter(Boolean).join(". ")
}
