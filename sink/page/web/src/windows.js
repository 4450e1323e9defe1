// Runs and windows as tables: every stretch that was tested, why it was
// rejected, and the choice of windows for an amendment.
import { box, h, put, table, text } from "./dom.js"
import { DASH, bearing, clock, fixed, length, plusMinus, seconds, words } from "./format.js"
import { burnsNothing } from "./electric.js"
import { whatOf } from "./timeline.js"

const FILTERS = [["all", "all"], ["accepted", "that count"], ["rejected", "rejected"], ["amended", "amended"]]

export function windows(c, filter = "all") {
  const r = c.results, chosen = c.amend.chosen
  const select = h("select", { id: "window-filter", change: () => fillTable() },
    FILTERS.map(([value, title]) => h("option", { value, selected: value === filter }, title)))
  const holder = h("div"), count = h("span", { class: "quiet" })
  const engines = r.vessel.engines.map((e) => e.name)
  const others = [...new Set(r.windows.flatMap((w) => Object.keys(w.rpm)))].filter((n) => !engines.includes(n)).sort()
  const names = [...engines, ...others]
  const burns = !burnsNothing(r), powered = r.windows.some((w) => w.power_kw)
  const measured = (i) => (i ? [fixed(i.mean, 1), " ", h("small", null, plusMinus(i, 1))] : DASH)

  const passes = { all: () => true, accepted: (w) => w.accepted && w.amended !== "excluded", rejected: (w) => !w.accepted, amended: (w) => Boolean(w.amended) }
  function fillTable() {
    const list = r.windows.filter(passes[select.value])
    text(count, ` ${list.length} of ${r.windows.length}`)
    put(holder, list.length ? box("Windows", rows(list)) : h("p", { class: "none" }, "None."))
  }

  function rows(list) {
    const columns = [{ title: "No." }, { title: "Choose", text: true }, { title: "Result", text: true }, { title: "Start" }, { title: "Length" }, { title: "Heading" },
      { title: "Speed", unit: "kn" }, burns && { title: "Burn", unit: c.sys.burnUnit }, powered && { title: "Power", unit: "kW" }, { title: "rpm", unit: names.length > 1 ? "each engine" : "" },
      { title: "Load", unit: "%" }, { title: "Trim", unit: "°" }, { title: "Depth", unit: c.sys.lengthUnit }, { title: "On the timeline", text: true, quiet: true }].filter(Boolean)
    return table("Windows", columns, list.map((w) => {
      const pick = h("input", { type: "checkbox", id: `choose-${w.id}`, "aria-label": `choose window ${w.id}, ${whatOf(r, w)}`, checked: chosen.has(w.id),
        change: () => c.amend.choose(w.id, pick.checked) })
      return {
        attributes: { class: w.amended ? "amended" : w.accepted ? null : "rejected", "data-window": w.id },
        cells: [String(w.id), w.accepted ? pick : "", [h("span", { "aria-hidden": "true" }, w.amended ? "◆ " : w.accepted ? "● " : "○ "), whatOf(r, w)], clock(w.start), length(seconds(w.end) - seconds(w.start)),
          bearing(w.heading_deg), measured(w.sog_kn), burns && measured(c.sys.burnOf(w.fuel_lph)), powered && measured(w.power_kw),
          names.map((n) => fixed(w.rpm[n]?.mean)).join(" / "), fixed(w.load_pct), fixed(w.pitch_deg, 1), fixed(c.sys.length(w.depth_m), 0),
          h("button", { type: "button", class: "plain", "aria-label": `show window ${w.id} on the timeline`, click: () => show(w) }, "show")].filter((x) => x !== false),
      }
    }), { class: "windows", quiet: true })
  }

  function show(w) {
    c.timeline.show(w)
    const section = document.getElementById("timeline")
    section.scrollIntoView()
    section.focus({ preventScroll: true })
  }

  c.amend.onChoice = () => {
    for (const input of holder.querySelectorAll("input[type=checkbox]")) input.checked = chosen.has(Number(input.id.slice(7)))
    c.timeline.mark(chosen)
  }
  c.timeline.onPick = (id) => {
    if (r.windows.find((w) => w.id === id)?.accepted) c.amend.choose(id, !chosen.has(id))
  }
  fillTable()
  return {
    element: h("div", null,
      h("p", null, tally(r.windows)),
      h("div", { class: "tools" }, h("label", { for: "window-filter" }, "Show windows ", select), count),
      holder, c.amend.element, runs(r)),
    filter: () => select.value,
  }
}

// tally counts the windows and the reasons, most frequent first.
function tally(list) {
  if (!list.length) return "No stretch of held throttle was found."
  const counts = new Map()
  for (const w of list) {
    if (!w.accepted) counts.set(w.reason || "no reason stated", (counts.get(w.reason || "no reason stated") ?? 0) + 1)
  }
  const accepted = list.filter((w) => w.accepted).length
  const reasons = [...counts].sort((a, b) => b[1] - a[1] || a[0].localeCompare(b[0])).map(([why, n]) => `${n} × ${why}`)
  const amended = list.filter((w) => w.amended).length
  return `${accepted} accepted${amended ? ` (${amended} of them amended)` : ""}, ${list.length - accepted} rejected${reasons.length ? ": " + reasons.join(", ") : ""}.`
}

function runs(r) {
  return h("details", null, h("summary", null, `Runs (${r.runs.length})`),
    box("Runs", table("Runs", [{ title: "No." }, { title: "Kind", text: true }, { title: "Start" }, { title: "End" }, { title: "Length" }],
      r.runs.map((x) => ({ cells: [String(x.id), words(x.kind), clock(x.start), clock(x.end), length(seconds(x.end) - seconds(x.start))] })), { quiet: true })))
}
