// The guidance in words: what the captain is told from one live state.
import { bearing, fixed, sentence, unit } from "./format.js"

const at = (rpm) => unit(fixed(rpm), "rpm")

// next is the pass that is missing, nearest to the engine speed held now; the
// one that is being made does not count.
export function next(live) {
  const rpm = live.hold.rpm ?? 0
  return live.steps.filter((s) => s.needs_reciprocal && !isMade(live.hold, s))
    .sort((a, b) => Math.abs(a.rpm - rpm) - Math.abs(b.rpm - rpm))[0] ?? null
}

const near = (hold, step) => hold.rpm != null && Math.abs(hold.rpm - step.rpm) < 0.03 * step.rpm
const apart = (a, b) => Math.abs(((a - b + 540) % 360) - 180) // of two directions, degrees

// isMade tells whether a step's missing pass is the one being held.
function isMade(hold, step) {
  return near(hold, step) && hold.heading_deg != null && step.reciprocal_deg != null && apart(hold.heading_deg, step.reciprocal_deg) < 30
}

const passBack = (step) =>
  step.reciprocal_deg == null ? `${at(step.rpm)}, the other way` : `${at(step.rpm)} on ${bearing(step.reciprocal_deg)}`

// after is what follows the pass that is being made.
function after(live) {
  const hold = live.hold, step = next(live)
  if (live.steps.some((s) => s.needs_reciprocal && isMade(hold, s))) {
    return "This is the pass back." + (step ? ` Then ${passBack(step)}.` : "")
  }
  if (hold.rpm != null && hold.heading_deg != null && !live.steps.some((s) => near(hold, s) && !s.needs_reciprocal)) {
    return `Then the pass back: ${at(hold.rpm)} on ${bearing(hold.heading_deg + 180)}.`
  }
  return step ? `Then ${passBack(step)}: its pass back is missing.` : ""
}

// guidance is {state, head, how, then}: the words to be read at a glance, how
// things stand, and what comes next. Fields may be "".
export function guidance(live) {
  if (!live.trial) {
    return { state: "free", head: live.recording.ok ? "Listening" : "Not recording", how: sentence(live.hold.why || "no frame has come yet"),
      then: live.recording.ok ? "Recording begins by itself with the first frame." : "What was recorded stands under Days." }
  }
  if (!live.run) return { state: "free", head: "Waiting", how: sentence(live.hold.why), then: "" }
  const hold = live.hold, step = next(live)
  const held = [hold.rpm != null && at(hold.rpm), hold.heading_deg != null && "on " + bearing(hold.heading_deg)].filter(Boolean).join(" ")
  switch (hold.state) {
    case "steady":
      return { state: "steady", head: `Hold ${fixed(Math.ceil(hold.more_s))} s more`,
        how: `Steady for ${fixed(Math.floor(hold.steady_s))} s` + (held ? ` at ${held}` : ""), then: after(live) }
    case "enough":
      return { state: "enough", head: "Enough",
        how: `Steady for ${fixed(Math.floor(hold.steady_s))} s` + (held ? ` at ${held}` : "") + ". This pass may end.",
        then: after(live) || "Then another rpm." }
    case "settling":
      return { state: "settling", head: "Hold still",
        how: (held ? `Settling at ${held}` : "Settling") + (hold.why ? `: ${hold.why}` : ""), then: after(live) }
  }
  if (step) {
    return { state: "free", head: `Next: ${passBack(step)}`, how: "The pass back is missing for this rpm.", then: sentence(hold.why) }
  }
  return { state: "free", head: "Throttle free", how: "Hold one rpm and one course to begin a step.", then: sentence(hold.why) }
}

// spoken is what a screen reader hears when the state changes: no running
// seconds.
export function spoken(g) {
  return g.state === "steady" ? `${g.head}. ${g.how}.` : [g.head, g.how].filter(Boolean).join(". ")
}
