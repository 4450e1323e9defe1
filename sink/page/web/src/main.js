// The page: bar, routes, connection. Views are functions that fill the main
// part and may return {update, lost, trial, end}.
import "../node_modules/uplot/dist/uPlot.min.css"
import "./style.css"
import { trials } from "./api.js"
import { day } from "./day.js"
import { h, put, text } from "./dom.js"
import { clock } from "./format.js"
import { live } from "./live.js"
import { list } from "./list.js"
import { login } from "./login.js"
import { apply, changed, set, settings } from "./settings.js"
import { stream } from "./stream.js"

const main = document.getElementById("main")
const CONNECTION = {
  connecting: ["○", "Connecting"],
  connected: ["●", "Connected"],
  lost: ["▲", "Connection lost, trying again"],
  "signed out": ["■", "Not signed in"],
}

let view = null, newest = null, heard = null, state = "connecting", route = {}

// where reads the address: #/ is live, #/days the list, #/day/3/steps a part
// of one.
function where() {
  const [, name = "", number = "", part = ""] = location.hash.split("/")
  return { name, number: Number(number) || 0, part }
}

function show() {
  const r = where()
  if (view && r.name === route.name && r.number === route.number) {
    route = r
    view.part?.(r.part)
    return
  }
  view?.end?.()
  view = null
  route = r
  mark()
  if (state === "signed out") return sign()
  scrollTo(0, 0)
  if (r.name === "day") view = day(main, r.number, r.part)
  else if (r.name === "days") view = list(main)
  else {
    view = live(main)
    if (newest) view.update(newest)
    if (state === "lost" && heard) view.lost(heard)
  }
}

function sign() {
  view?.end?.()
  view = login(main, () => {
    view = null
    state = "connecting"
    connection.now()
    show()
  })
}

// The bar.
const dot = h("span", { "aria-hidden": "true" }), told = h("span"), link = h("p", { class: "link", role: "status" }, dot, " ", told)
const nav = h("nav", { "aria-label": "Pages" },
  h("a", { href: "#/", "data-name": "" }, "Live"),
  h("a", { href: "#/day/now", "data-name": "day" }, "Today"),
  h("a", { href: "#/days", "data-name": "days" }, "Days"))
nav.children[1].addEventListener("click", async (e) => {
  e.preventDefault()
  location.hash = await lastDay()
})

async function lastDay() {
  const number = newest?.trial?.number ?? (await trials().catch(() => [])).at(-1)?.number
  return number ? `#/day/${number}` : "#/days"
}

// archive is the page where nothing is recorded: there is no live view, and the
// last day stands first.
async function archive() {
  nav.children[0].hidden = true
  text(nav.children[1], "Last day")
  if (!route.name) location.replace(await lastDay())
}

function choice(name, label, options) {
  const select = h("select", { change: () => set(name, select.value) },
    options.map(([value, title]) => h("option", { value, selected: settings[name] === value }, title)))
  return h("label", null, h("span", null, label), " ", select)
}

put(document.getElementById("bar"), h("header", { class: "bar" }, nav, link,
  h("details", { class: "prefer" }, h("summary", null, "Display"),
    h("div", null,
      choice("units", "Units", [["", "as the trial"], ["metric", "metric"], ["us", "US"]]),
      choice("zone", "Times", [["local", "local"], ["utc", "UTC"]]),
      choice("scheme", "Scheme", [["auto", "as the device"], ["day", "day"], ["night", "night"]])))))

function mark() {
  for (const a of nav.children) {
    if (a.dataset.name === route.name) a.setAttribute("aria-current", "page")
    else a.removeAttribute("aria-current")
  }
}

function stateIs(now) {
  state = now
  link.dataset.state = now
  const [sign_, words] = CONNECTION[now]
  text(dot, sign_)
  text(told, now === "lost" && heard ? `${words}; last heard ${clock(heard)}` : words)
  if (now === "lost" && heard) view?.lost?.(heard)
  if (now === "signed out") sign()
}

const connection = stream({
  onState: stateIs,
  onTrial: () => view?.trial?.(),
  onLive(l) {
    if (l.archive && !newest) archive()
    newest = l
    heard = new Date()
    view?.update?.(l)
  },
})

addEventListener("signin", () => {
  if (state !== "signed out") stateIs("signed out")
})
addEventListener("hashchange", () => {
  show()
  if (!route.part) main.focus({ preventScroll: true })
})
// Times and units stand everywhere: the view is built anew.
changed(() => {
  const at = scrollY, kept = view?.keep?.()
  view?.end?.()
  view = null
  if (route.name === "day") view = day(main, route.number, "", kept)
  else show()
  requestAnimationFrame(() => scrollTo(0, at))
})
apply()
show()
