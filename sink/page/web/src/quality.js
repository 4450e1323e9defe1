// What was heard, from whom, and what was lost.
import { box, facts, h, table } from "./dom.js"
import { DASH, capital, clock, fixed, length, seconds, thousands, unit, words } from "./format.js"

export function data(c) {
  const r = c.results, q = r.quality
  return { element: h("div", null,
    h("div", { class: "pair" },
      h("div", null, h("h3", null, "Frames"), facts([["Read", thousands(q.frames)], ["Messages", thousands(q.messages)], ["Of unknown messages", thousands(q.unknown_pgn_frames)],
        ["Error frames", thousands(q.error_frames)], ["Lines not readable", thousands(q.bad_lines)], ["Fast-packet messages lost", thousands(q.fast_packet_lost)],
        ...Object.entries(q.losses).filter(([, n]) => n).sort().map(([kind, n]) => [capital(words(kind)), thousands(n)]), ["Gaps", thousands(q.gaps.length)]])),
      h("div", null, h("h3", null, "Clock"), r.clock.known
        ? facts([["UTC less recorder time", unit(fixed(r.clock.offset_s, 3), "s")], ["Uncertainty", "± " + unit(fixed(r.clock.uncertainty_s, 3), "s")],
            ["Drift", unit(fixed(r.clock.drift_ppm, 2), "ppm")], ["Jumps repaired", String(r.clock.steps)]])
        : h("p", null, "No satellite time was heard: times are the recorder's own."),
      h("h3", null, "Provenance"), facts([["Version", r.version], ["Layout", r.schema], ["Hash of frames", h("code", null, q.frames_hash)]]))),
    h("h3", null, "Devices"),
    r.devices.length ? box("Devices", table("Devices on the bus", [{ title: "Device" }, { title: "Bus", text: true }, { title: "Address" }, { title: "NAME", text: true }, { title: "Software", text: true }, { title: "Serial", text: true }, { title: "Messages" }],
      r.devices.map((d) => ({ cells: [d.model || "no product message", d.bus, d.addresses.join(" ") || DASH, d.name || DASH, d.software || DASH, d.serial || DASH, thousands(d.messages)] })), { class: "data wide first-text", quiet: true }))
      : h("p", { class: "none" }, "None was heard."),
    h("h3", null, "Who gave what"), sources(r), gaps(q.gaps)) }
}

// sources has one line for all quantities of which a device is the only
// source, and one for every choice between devices.
function sources(r) {
  const only = new Map(), rows = []
  const name = (i) => r.devices[i]?.model || r.devices[i]?.name || DASH
  for (const s of r.sources) {
    const row = s.why === "only source" && only.get(s.device)
    if (row) {
      row.quantities.push(words(s.quantity))
      continue
    }
    rows.push({ quantities: [words(s.quantity)], ...s })
    if (s.why === "only source") only.set(s.device, rows.at(-1))
  }
  if (!rows.length) return h("p", { class: "none" }, "Nothing was heard.")
  return box("Sources", table("Sources of each quantity", [{ title: "Device" }, { title: "Quantities", text: true }, { title: "From" }, { title: "Why", text: true }],
    rows.map((s) => ({ cells: [name(s.device), s.quantities.join(", "), clock(s.start), s.why] })), { class: "data wide first-text", quiet: true }))
}

function gaps(list) {
  if (!list.length) return null
  return h("details", null, h("summary", null, `Gaps (${list.length})`), box("Gaps", table("Gaps", [{ title: "What" }, { title: "Start" }, { title: "End" }, { title: "Length" }],
    list.map((g) => ({ cells: [words(g.what), clock(g.start), clock(g.end), length(seconds(g.end) - seconds(g.start))] })), { class: "first-text", quiet: true })))
}
