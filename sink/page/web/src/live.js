// The day while it goes on: guidance first, then the figures of now, what is
// done and missing, and how well things are heard.
import { box, h, put, table, text } from "./dom.js"
import { DASH, bearing, capital, clock, date, fixed, known, minutes, plusMinus, system, thousands, unit, words, zoneName } from "./format.js"
import { guidance, spoken } from "./guide.js"
import { us } from "./settings.js"
import { say } from "./say.js"

const MARK = { good: "●", warn: "▲", bad: "■", off: "○" }
// rank puts first what needs somebody.
const rank = (lamp) => ["bad", "warn", "good", "off"].indexOf(lamp.state)
const LEVEL = { good: "good", warn: "look", bad: "fault", off: "not heard" }

// live builds the view; update shows one state, stale marks it as old.
export function live(root) {
  const p = {
    problems: h("div", { class: "problems", role: "alert" }),
    guide: h("div", { class: "guide", "data-state": "free" }),
    head: h("p", { class: "head" }), how: h("p", { class: "how" }), then: h("p", { class: "then" }),
    fill: h("span"),
    figures: h("div", { class: "figures" }),
    engines: h("div"), course: h("div"), sum: h("p"), steps: box("Steps so far"), lamps: h("ul", { class: "lamps" }),
    recording: h("p", { class: "small" }), where: h("p", { class: "where" }), title: h("h1", { class: "unseen" }, "Live"),
  }
  p.bar = h("div", { class: "progress", role: "progressbar", "aria-label": "steady, in seconds", "aria-valuemin": 0 }, p.fill)
  put(p.guide, p.head, p.bar, p.how, p.then)
  put(root, h("div", { class: "live" },
    p.title, p.where, p.problems,
    h("div", { class: "column" },
      h("section", { class: "guidance", "aria-label": "Guidance" }, p.guide,
        h("p", { class: "small" }, "Whoever helms looks out, not at this page. The skipper decides.")),
      h("section", { class: "steps-so-far" }, h("h2", null, "Steps so far"), p.sum, p.steps)),
    h("div", { class: "column" },
      h("section", { class: "now", "aria-label": "Now" }, p.figures, p.engines, p.course),
      h("section", { class: "heard" }, h("h2", null, "How well it is heard"), p.lamps, p.recording))))
  const cells = {}
  let told = "", drive = null

  function place(key, name) {
    const value = h("span", { class: "big" }), unit = h("span", { class: "unit" }), also = h("p", { class: "also" })
    cells[key] = { value, unit, also }
    return h("div", { class: "answer" }, h("h2", null, name), h("p", { class: "value" }, value, " ", unit), also)
  }
  // layout lays the figures out for what drives the boat: fuel, batteries or both,
  // each with figures of its own.
  function layout(next) {
    if (next === drive) return
    drive = next
    put(p.figures, place("speed", "Speed over ground"),
      drive !== "electric" && [place("burn", "Burn"), place("economy", "Economy")],
      drive !== "" && [place("power", "Battery power"), place("energy", drive === "hybrid" ? "Energy from batteries" : "Energy per mile"),
        place("charge", "State of charge")],
      place("run", "Run"))
  }
  layout("")

  function show(key, value, unit, also = "") {
    const c = cells[key]
    text(c.value, value)
    c.value.classList.toggle("none", value === DASH)
    text(c.unit, unit)
    text(c.also, also)
  }

  // batteries shows what the batteries that drive the boat give.
  function batteries(e, drive) {
    const wh = e.wh_per_nm
    show("power", fixed(e.power_kw, 1), "kW", known(e.power_kw) ? (e.power_kw < 0 ? "charging" : "") : "not heard from every battery")
    show("energy", fixed(wh), "Wh/nm", drive === "electric" && wh > 0 ? unit(fixed(1000 / wh, 2), "nm/kWh") : "")
    show("charge", fixed(e.charge_pct), "%", known(e.charge_pct) ? charges(e.batteries) : "not heard from every battery")
  }

  function update(l) {
    layout(l.drive ?? "")
    const sys = system(us(l.trial)), now = l.now
    const g = guidance(l)
    p.guide.dataset.state = g.state
    text(p.head, g.head)
    text(p.how, g.how)
    text(p.then, g.then)
    const steady = g.state === "steady" || g.state === "enough"
    p.bar.hidden = !steady
    p.bar.setAttribute("aria-valuemax", l.hold.need_s)
    p.bar.setAttribute("aria-valuenow", Math.min(l.hold.steady_s, l.hold.need_s))
    p.fill.style.width = `${Math.min(100, (100 * l.hold.steady_s) / (l.hold.need_s || 1))}%`
    if (told !== g.state) {
      told = g.state
      say(spoken(g))
    }

    show("speed", fixed(now.sog_kn, 1), "kn", [sys.also(now.sog_kn), known(now.stw_kn) && `${unit(fixed(now.stw_kn, 1), "kn")} through water`].filter(Boolean).join(" · "))
    if (l.drive !== "electric") {
      show("burn", fixed(sys.burn(now.fuel_lph), 1), sys.burnUnit, known(now.fuel_lph) ? "" : "not heard from every engine that runs")
      show("economy", fixed(sys.spend(now.economy_l_per_nm), 2), sys.spendUnit,
        known(now.economy_l_per_nm) ? unit(fixed(sys.economy(1 / now.economy_l_per_nm), 3), sys.economyUnit) : "")
    }
    if (l.drive) batteries(now.electric ?? {}, l.drive)
    show("run", l.run ? minutes(l.run.seconds) : DASH, l.run ? "min" : "", l.run ? capital(words(l.run.kind)) : "No run yet")
    put(p.engines, engines(now.engines, sys))
    put(p.course, course(now, sys))
    changed(p.sum, [l.steps], () => sum(l.steps))
    changed(p.steps, [l.steps, sys.us, l.drive], () => steps(l.steps, sys, l.drive ?? ""))
    changed(p.lamps, l.lamps, () => l.lamps.toSorted((a, b) => rank(a) - rank(b)).map(lamp))
    changed(p.problems, l.recording.problems, () => l.recording.problems.map((x) => h("p", null, h("span", { "aria-hidden": "true" }, "■ "), x)))
    text(p.recording, (l.recording.ok ? "Recording" : "Not recording") +
      `: ${thousands(l.recording.frames)} frames kept, ${thousands(l.recording.lost)} lost since the start of the program.`)
    text(p.where, l.trial
      ? [`Trial ${l.trial.number}`, l.trial.name, l.time && `${date(l.time)}, ${clock(l.time)} ${zoneName(l.time)}`,
          !l.clock_known && "by the recorder's own clock"].filter(Boolean).join(" · ")
      : "No trial is being recorded.")
  }

  // lost says that what is shown is old: guidance must not go on by itself.
  function lost(since) {
    p.guide.dataset.state = "lost"
    text(p.head, "No connection")
    text(p.how, `What is shown below is of ${clock(since)}. The page goes on by itself as soon as the logger answers.`)
    text(p.then, "The logger records without this page.")
    p.bar.hidden = true
    if (told !== "lost") {
      told = "lost"
      say("No connection to the logger. The page reconnects by itself.")
    }
  }
  return { update, lost }
}

// charges tells the batteries apart where there are several.
function charges(list) {
  return list.length < 2 ? "" : "battery " + list.map((b) => `${b.instance}: ${unit(fixed(b.charge_pct), "%")}`).join(", ")
}

function engines(list, sys) {
  if (!list.length) return h("p", { class: "none" }, "No engine is heard yet.")
  return h("div", { class: "engines" }, list.map((e) => h("div", { class: "engine" },
    h("h2", null, capital(e.name), h("span", { class: "quiet" }, " rpm")),
    h("p", null, h("span", { class: known(e.rpm) ? "big" : "big none" }, fixed(e.rpm))),
    h("p", { class: "also" }, [e.gear ?? "gear not heard", known(e.load_pct) && unit(fixed(e.load_pct), "% load"),
      known(e.fuel_lph) && unit(fixed(sys.burn(e.fuel_lph), 1), sys.burnUnit), known(e.trim_pct) && unit("trim " + fixed(e.trim_pct), "%")]
      .filter(Boolean).join(" · ")))))
}

function course(now, sys) {
  const pairs = [["Heading", bearing(now.heading_deg)], ["Course over ground", bearing(now.cog_deg)],
    ["Depth", known(now.depth_m) ? unit(fixed(sys.length(now.depth_m), 1), sys.lengthUnit) : DASH],
    ["Trim, bow up", known(now.pitch_deg) ? fixed(now.pitch_deg, 1) + "°" : DASH],
    ["Heel to starboard", known(now.roll_deg) ? fixed(now.roll_deg, 1) + "°" : DASH]]
  return h("dl", { class: "more" }, pairs.map(([k, v]) => h("div", null, h("dt", null, k), h("dd", null, v))))
}

// changed draws a part anew only where what it shows changed: alerts are not
// told twice, and nothing moves under a finger.
const drawn = new WeakMap()
function changed(element, shown, draw) {
  const key = JSON.stringify(shown)
  if (drawn.get(element) === key) return
  drawn.set(element, key)
  put(element, draw())
}

// sum tells in a sentence what is done and what is missing.
function sum(list) {
  if (!list.length) return "No steady pass yet."
  const missing = list.filter((s) => s.needs_reciprocal)
  return [`${list.length - missing.length} of ${list.length} done both ways. `,
    missing.length ? h("b", null, `Missing: ${missing.map((s) => `${fixed(s.rpm)} rpm on ${otherWay(s)}`).join(", ")}.`) : "Nothing is missing."]
}

const otherWay = (s) => (s.reciprocal_deg == null ? "the other way" : bearing(s.reciprocal_deg))

function steps(list, sys, drive) {
  if (!list.length) return null
  const fuel = drive !== "electric", electric = drive !== ""
  return table("Steps so far, by rpm", [{ title: "rpm" }, { title: "State", text: true }, { title: "Passes on", text: true },
    { title: "Speed", unit: "kn" }, fuel && { title: "Burn", unit: sys.burnUnit },
    electric && { title: "Power", unit: "kW" }, electric && { title: "Energy", unit: "Wh/nm" }].filter(Boolean),
  list.map((s) => ({
    attributes: { class: s.needs_reciprocal ? "wanted" : null },
    cells: [fixed(s.rpm), s.needs_reciprocal ? h("b", null, "▲ needs " + otherWay(s)) : "● done" + (s.current_corrected ? "" : ", current not taken out"),
      s.headings_deg.map(bearing).join(" ") || DASH, figure(s.speed_kn), fuel && figure(sys.burnOf(s.fuel_lph)),
      electric && figure(s.electric?.power_kw), electric && figure(s.electric?.wh_per_nm, 0)].filter((x) => x !== false),
  })), { class: "sofar", quiet: true })
}

const figure = (i, d = 1) => (i ? [fixed(i.mean, d), " ", h("small", null, plusMinus(i, d))] : DASH)

function lamp(l) {
  return h("li", { "data-state": l.state },
    h("span", { class: "mark", "aria-hidden": "true" }, MARK[l.state] ?? MARK.off),
    h("span", null, h("b", null, capital(l.name)), h("span", { class: "level" }, " " + (LEVEL[l.state] ?? l.state)), h("span", { class: "why" }, l.text)))
}
