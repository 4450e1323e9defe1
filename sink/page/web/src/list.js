// The trials kept.
import { trials } from "./api.js"
import { box, h, put, table } from "./dom.js"
import { clock, date, length, seconds, zoneName } from "./format.js"

export function list(root) {
  let ended = false
  const body = h("div", null, h("p", null, "Asking the logger …"))
  put(root, h("h1", null, "Days"), body)

  async function load() {
    try {
      const all = await trials()
      if (ended) return
      put(body, all.length ? shown(all) : h("p", { class: "none" }, "No trial is kept yet. One begins with the first frame from the boat's network."))
    } catch (e) {
      put(body, h("p", { class: "problems", role: "alert" }, e.message))
    }
  }
  load()
  return { trial: load, end: () => (ended = true) }
}

function shown(all) {
  return [
    h("p", { class: "small" }, `Times in ${zoneName(all.at(-1).start)}.`),
    box("Trials", table("Trials kept", [{ title: "Trial" }, { title: "Name", text: true }, { title: "Day", text: true },
      { title: "Time", text: true }, { title: "State", text: true }], all.toReversed().map((t) => ({
      cells: [h("a", { href: `#/day/${t.number}` }, String(t.number)), h("a", { href: `#/day/${t.number}` }, t.name || "without a name"),
        date(t.start), t.end ? `${clock(t.start, false)} to ${clock(t.end, false)}, ${length(seconds(t.end) - seconds(t.start))}` : clock(t.start, false),
        (t.closed ? "closed" : "being recorded") + (t.has_results ? "" : ", no figures yet")],
    })), { class: "wide", quiet: true })),
  ]
}
