// One trial: the answers, then what they rest on. A part is drawn when the
// results are there, anew when they change; plots keep their range.
import { results as askResults, timeline as askTimeline, trials } from "./api.js"
import { amendments, newDraft } from "./amend.js"
import { answers } from "./answers.js"
import { curves } from "./curves.js"
import { details } from "./details.js"
import { h, put } from "./dom.js"
import { clock, date, known, seconds, system, unit, fixed, sentence, zoneName, length } from "./format.js"
import { keepPlace } from "./place.js"
import { data } from "./quality.js"
import { us } from "./settings.js"
import { steps } from "./steps.js"
import { timeline } from "./timeline.js"
import { track } from "./track.js"
import { windows } from "./windows.js"

const PARTS = [["steps", "Steps"], ["curves", "Curves"], ["timeline", "Timeline"], ["track", "Track"], ["windows", "Windows"],
  ["manoeuvres", "Manoeuvres"], ["engines", "Engines and gears"], ["data", "Data"], ["files", "Files"]]

export function day(root, number, part, kept) {
  let ended = false, drawn = [], draft = kept?.draft ?? newDraft()
  const body = h("div", { class: "day" }, h("p", null, "Asking the logger …"))
  put(root, body)

  // The whole timeline is asked for at once, not only when the results are here.
  let whole = kept ? null : askTimeline(number, null, null, 2400).catch(() => null)

  async function load() {
    try {
      const [r, all] = await Promise.all([askResults(number), trials()])
      if (!ended) draw(r, all.find((t) => t.number === number))
    } catch (e) {
      if (!ended && !drawn.length) {
        put(body, h("h1", null, `Trial ${number}`), h("p", { class: "problems", role: "alert" }, e.message),
          h("p", null, "The page shows the trial as soon as there are figures."))
      }
    }
  }

  function draw(r, trial) {
    const range = drawn.length ? keep() : kept
    kept = null
    const back = drawn.length ? keepPlace(body) : null
    for (const d of drawn) d.end?.()
    const sys = system(us(r.trial)), c = { number, trial, results: r, sys, reload: load, whole }
    whole = null
    c.timeline = timeline(c, range?.timeline)
    c.track = track(c)
    c.amend = amendments(c, draft)
    c.windows = windows(c, range?.windows)
    const shown = { steps: steps(c), curves: curves(c), timeline: c.timeline, track: c.track, windows: c.windows, manoeuvres: details.manoeuvres(c),
      engines: details.engines(c), data: data(c), files: files(c) }
    drawn = Object.values(shown)
    put(body, head(r, trial), answers(c), findings(r),
      h("nav", { class: "parts-nav", "aria-label": "Parts of the day" },
        PARTS.map(([id, title]) => h("a", { href: `#/day/${number}/${id}` }, title))),
      PARTS.map(([id, title]) => h("section", { id, class: "chapter", tabindex: -1, "aria-labelledby": id + "-title" },
        h("h2", { class: "title", id: id + "-title" }, title), shown[id].element)))
    for (const d of drawn) d.placed?.()
    back?.()
    if (part) to(part)
    part = ""
  }

  function keep() {
    const find = (f) => drawn.map(f).find((x) => x != null)
    return { timeline: find((d) => d.range?.()), draft, windows: find((d) => d.filter?.()) }
  }

  function to(id) {
    const section = document.getElementById(id)
    section?.scrollIntoView()
    section?.focus({ preventScroll: true })
  }

  load()
  return {
    trial: load, keep,
    part: (id) => (id ? to(id) : scrollTo(0, 0)),
    end() {
      ended = true
      for (const d of drawn) d.end?.()
    },
  }
}

function head(r, trial) {
  const t = r.trial
  return h("header", null,
    h("p", { class: "kind" }, "Trial day", trial && !trial.closed ? ", being recorded" : ""),
    h("h1", null, r.vessel.name || "Boat without a name"),
    h("p", { class: "where" }, [t.name, t.place, t.start && `${date(t.start)}, ${clock(t.start, false)} to ${clock(t.end, false)}, ${zoneName(t.start)}`,
      t.start && length(seconds(t.end) - seconds(t.start)), known(r.vessel.test_mass_kg) && testMass(r)].filter(Boolean).map((x) => h("span", null, x)), " "),
    r.clock.known ? null : h("p", { class: "caveat" }, "No satellite time was heard: times are the recorder's own."))
}

function testMass(r) {
  const sys = system(us(r.trial))
  return "test weight " + unit(fixed(sys.mass(r.vessel.test_mass_kg)), sys.massUnit)
}

// findings and missing figures stand before the tables they bear on.
function findings(r) {
  if (!r.findings.length && !r.missing.length) return h("p", { class: "small" }, "Nothing on the installation or the data to report.")
  return h("section", { class: "findings", "aria-label": "Findings" },
    r.findings.length > 0 && [h("h2", null, "Findings"), h("ul", null, r.findings.map((f) =>
      h("li", null, h("b", null, sentence(f.what)), " ", sentence(f.meaning), " ", sentence(f.remedy), f.sure && h("span", { class: "quiet" }, " " + sentence(f.sure)))))],
    r.missing.length > 0 && [h("h2", null, "Not derived"), h("ul", null, r.missing.map((m) =>
      h("li", null, h("b", null, sentence("No " + m.figure)), " ", sentence(m.why))))])
}

const FILES = [["sheet.html", "Trial sheet", "to read and to print"], ["sheet.pdf", "Trial sheet, PDF", "to hand over"],
  ["steps.csv", "Steps, CSV", "one row an rpm step"], ["windows.csv", "Windows, CSV", "one row a tested stretch"],
  ["runs.csv", "Runs, CSV", "one row a run"], ["steps.parquet", "Steps, Parquet", ""], ["windows.parquet", "Windows, Parquet", ""], ["runs.parquet", "Runs, Parquet", ""],
  ["results.json", "Results, JSON", "every figure with its interval"]]

// files links what there is: a file that the server has not is not offered.
function files(c) {
  const list = h("ul", { class: "files" })
  const ask = FILES.map(async ([name, title, what]) => {
    const path = `/api/trials/${c.number}/${name}`
    const there = await fetch(path, { method: "HEAD" }).then((a) => a.ok, () => false)
    return there && h("li", null, h("a", { href: path, target: "_blank", rel: "noopener" }, title), what && h("span", { class: "quiet" }, " " + what))
  })
  Promise.all(ask).then((items) => put(list, items))
  return { element: list }
}
