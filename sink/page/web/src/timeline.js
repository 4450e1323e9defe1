// The course of the day: speed, rpm, burn and more over time, the runs and
// windows on lanes above, one time scale for all. A stretch is drawn at once
// from what is here and then asked for in detail.
import { timeline as ask } from "./api.js"
import { h, put, text } from "./dom.js"
import { clock, fixed, known, length, seconds, unit, words } from "./format.js"
import { axis, colour, engineStroke, font, frame, rem, uPlot } from "./plot.js"
import { settings } from "./settings.js"

const LANES = ["held_throttle", "accelerating", "turning", "slowing", "manoeuvring", "at_rest"]
const SHORTEST = 5 // s, of a range

export const timeline = (c, range) => new Timeline(c, range)

class Timeline {
  constructor(c, range) {
    this.c = c
    this.whole = [seconds(c.results.trial.start), seconds(c.results.trial.end)]
    this.from = range?.from ?? this.whole[0]
    this.to = range?.to ?? this.whole[1]
    if (range?.atEnd) this.to = this.whole[1] // a day that goes on
    this.open = new Set(range?.open ?? [])
    this.panels = []
    this.listeners = new Set()
    this.picked = null
    this.marked = new Set()
    this.bars = bars(c.results)
    this.engines = c.results.vessel.engines.map((e) => e.name)
    this.readout = h("p", { class: "readout" }, "Point at a time to read it; drag to zoom.")
    this.charts = h("div", { class: "charts" })
    this.state = h("p", { class: "small", role: "status" })
    const button = (label, title, f) => h("button", { type: "button", title, "aria-label": title, click: f }, label)
    this.element = h("div", { class: "timeline" },
      h("div", { class: "tools", role: "group", "aria-label": "Range of time" },
        button("Whole day", "Whole day", () => this.go(...this.whole)),
        button("+", "Zoom in", () => this.zoom(0.5)), button("\u2212", "Zoom out", () => this.zoom(2)),
        button("←", "Earlier", () => this.shift(-0.5)), button("→", "Later", () => this.shift(0.5)),
        (this.shown = h("span", { class: "range" })),
        h("span", { class: "more-panels" }, this.choices())),
      this.charts, this.readout, this.state,
      h("p", { class: "small" }, "Shaded: steady windows that count. Thin band: lowest to highest value. The same runs and windows stand as a table under Windows."))
  }

  placed() {
    this.load(true)
  }

  range() {
    return { from: this.from, to: this.to, open: [...this.open], atEnd: this.to >= this.whole[1] && this.from > this.whole[0] }
  }

  choices() {
    return [["attitude", "trim and heel"], ["heading_deg", "heading"], ["depth_m", "depth"], ["stw_kn", "speed through water"]].map(([key, title]) => {
      const box = h("input", { type: "checkbox", checked: this.open.has(key), change: () => {
        if (box.checked) this.open.add(key)
        else this.open.delete(key)
        this.build()
      } })
      return h("label", null, box, " ", title)
    })
  }

  // go shows a stretch, held inside the day.
  go(from, to) {
    const [a, b] = this.whole, span = Math.min(Math.max(to - from, SHORTEST), b - a)
    const mid = (from + to) / 2
    this.from = Math.min(Math.max(mid - span / 2, a), b - span)
    this.to = this.from + span
    for (const p of this.panels) p.plot?.setScale("x", { min: this.from, max: this.to })
    this.tell()
    clearTimeout(this.timer)
    this.timer = setTimeout(() => this.load(), 150)
    for (const f of this.listeners) f(this.from, this.to)
  }

  zoom(k, at = (this.from + this.to) / 2) {
    this.go(at - (at - this.from) * k, at + (this.to - at) * k)
  }

  shift(k) {
    const d = k * (this.to - this.from)
    this.go(this.from + d, this.to + d)
  }

  // show zooms to a window with room on both sides.
  show(w) {
    const a = seconds(w.start), b = seconds(w.end), room = Math.max(20, b - a)
    this.picked = w.id
    this.go(a - room, b + room)
  }

  mark(ids) {
    this.marked = new Set(ids)
    for (const p of this.panels) p.plot?.redraw(false)
  }

  tell() {
    text(this.shown, `${clock(this.from * 1000)} to ${clock(this.to * 1000)}, ${length(this.to - this.from)}`)
  }

  async load(first) {
    this.asking?.abort()
    this.asking = new AbortController()
    const points = Math.round(Math.min(2000, Math.max(400, this.charts.clientWidth)))
    const margin = (this.to - this.from) / 2
    try {
      const view = (first && (await this.c.whole)) || await ask(this.c.number, Math.max(this.whole[0], this.from - margin), Math.min(this.whole[1], this.to + margin), 2 * points, this.asking.signal)
      this.view = view
      text(this.state, "")
      if (first) this.build()
      else this.feed()
    } catch (e) {
      if (e.name !== "AbortError") text(this.state, e.message)
    }
    this.tell()
  }

  // groups are the panels: a title and the channels in it.
  groups() {
    const k = this.c.sys, has = (key) => this.view.channels[key]
    const rpm = Object.keys(this.view.channels).filter((x) => x.startsWith("rpm_"))
    const order = (x) => (this.engines.indexOf(x.slice(4)) + 1) || 99
    const one = (x) => x
    return [
      { title: "Speed", unit: "kn", channels: ["sog_kn", this.open.has("stw_kn") && "stw_kn"], value: one, high: true },
      { title: "rpm", unit: "rpm", channels: rpm.sort((a, b) => order(a) - order(b)), value: one, high: true },
      { title: "Burn", unit: k.burnUnit, channels: ["fuel_lph"], value: k.burn, high: true },
      { title: "Battery power", unit: "kW", channels: ["power_kw"], value: one },
      this.open.has("attitude") && { title: "Trim and heel", unit: "°", channels: ["pitch_deg", "roll_deg"], value: one },
      this.open.has("heading_deg") && { title: "Heading", unit: "°", channels: ["heading_deg"], value: one, dots: true },
      this.open.has("depth_m") && { title: "Depth", unit: k.lengthUnit, channels: ["depth_m"], value: k.length, high: true },
    ].filter(Boolean).map((g) => ({ ...g, channels: g.channels.filter((x) => x && has(x)) })).filter((g) => g.channels.length)
  }

  build() {
    if (!this.view) return
    for (const p of this.panels) p.end()
    this.plotted = this.groups()
    this.panels = [this.lanes(), ...this.plotted.map((g) => this.panel(g))]
    put(this.charts, this.panels.map((p, i) => h("figure", null,
      h("figcaption", null, i === 0 ? "Runs and windows" : this.caption(this.plotted[i - 1])), p.element)))
    this.tell()
  }

  caption(g) {
    return [`${g.title}${g.title === g.unit ? "" : ", " + g.unit}`, g.channels.length > 1 && h("span", { class: "key" }, g.channels.map((ch, i) => [
      h("i", { class: "k" + (i % 4), "aria-hidden": "true" }), name(ch)]))]
  }

  data(g) {
    const { time, channels } = this.view
    const all = [time]
    for (const key of g.channels) {
      const { mean, min, max } = channels[key], convert = (list) => (list ?? mean).map((v) => (known(v) ? g.value(v) : null))
      all.push(convert(mean), convert(max), convert(min))
    }
    return all
  }

  feed() {
    this.plotted.forEach((g, i) => {
      const plot = this.panels[i + 1].plot
      if (!plot) return
      plot.batch(() => {
        plot.setData(this.data(g), false)
        plot.setScale("x", { min: this.from, max: this.to })
      })
    })
  }

  options(size, more) {
    const narrow = this.charts.clientWidth < 40 * rem(), gutter = narrow ? 5.6 : 7
    return {
      ...size, legend: { show: false },
      cursor: { y: false, points: { show: false }, sync: { key: "day" + this.c.number }, drag: { x: true, y: false, setScale: false } },
      tzDate: (t) => (settings.zone === "utc" ? uPlot.tzDate(new Date(t * 1000), "Etc/UTC") : new Date(t * 1000)),
      padding: [6, 12, 0, 0],
      ...more,
      scales: { x: { time: true, min: this.from, max: this.to, range: () => [this.from, this.to] }, ...more.scales },
      axes: [axis({ size: 1.8 * rem(), space: 5 * rem(), values: (u, ticks) => times(ticks), ...more.x }), axis({ size: gutter * rem(), space: 1.6 * rem(), ...more.y, ...(narrow && { font: font(0.65) }) })],
      hooks: {
        ready: [(u) => this.touch(u)],
        drawClear: [(u) => this.shade(u)],
        setSelect: [(u) => {
          if (u.select.width < 4) return
          const a = u.posToVal(u.select.left, "x"), b = u.posToVal(u.select.left + u.select.width, "x")
          u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false)
          this.go(a, b)
        }],
        setCursor: [(u) => this.read(u)],
        ...more.hooks,
      },
    }
  }

  panel(g) {
    return frame(`${g.title} over time, from ${clock(this.from * 1000)} to ${clock(this.to * 1000)}`, 8.5, (el, size) => {
      const series = [{}], bands = []
      g.channels.forEach((key, i) => {
        const style = engineStroke(i), n = series.length
        const edge = { stroke: "transparent", width: 0, points: { show: false } }
        series.push({ ...style, width: 1.4, paths: g.dots ? () => null : undefined, points: { show: Boolean(g.dots), size: 3, fill: style.stroke } }, edge, edge)
        if (!g.dots) bands.push({ series: [n + 1, n + 2], fill: () => style.stroke() + "38" })
      })
      const y = g.high ? (u, min, max) => [0, (max || 1) * 1.06] : (u, min, max) => (min === max ? [min - 1, max + 1] : [min - 0.05 * (max - min), max + 0.05 * (max - min)])
      return new uPlot(this.options(size, { series, bands, scales: { y: { range: y } } }), this.data(g), el)
    })
  }

  // lanes draws the runs, one kind a lane, and the windows on top.
  lanes() {
    const rows = ["steady window", "not steady", ...(this.bars.amended.length ? ["amended"] : []), ...LANES.map(words)]
    const n = rows.length
    return frame("Runs and windows over time; the same stands as a table under Windows", 1.15 * n + 2.2, (el, size) => {
      const lane = (u, i) => [u.valToPos(n - i - 0.12, "y", true), u.valToPos(n - i - 0.88, "y", true)]
      const draw = (u) => {
        const ctx = u.ctx
        ctx.save()
        ctx.beginPath()
        ctx.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height)
        ctx.clip()
        const put = (bar, i, fill, open) => {
          const l = u.valToPos(bar.from, "x", true), r = u.valToPos(bar.to, "x", true), [top, bottom] = lane(u, i), w = Math.max(r - l, 1.5)
          if (r < u.bbox.left || l > u.bbox.left + u.bbox.width) return
          ctx.fillStyle = ctx.strokeStyle = fill
          ctx.lineWidth = 1.2 * devicePixelRatio
          if (open) ctx.strokeRect(l + 0.5, top + 0.5, w, bottom - top)
          else ctx.fillRect(l, top, w, bottom - top)
          if (bar.id != null && (this.marked.has(bar.id) || this.picked === bar.id)) {
            ctx.strokeStyle = colour("ink")
            ctx.lineWidth = 2 * devicePixelRatio
            ctx.strokeRect(l - 1, top - 1, w + 2, bottom - top + 2)
          }
        }
        for (const b of this.bars.accepted) put(b, 0, colour("accent"))
        for (const b of this.bars.rejected) put(b, 1, colour("warm"), true)
        for (const b of this.bars.amended) put(b, 2, colour("green"), true)
        const first = this.bars.amended.length ? 3 : 2
        for (const b of this.bars.runs) put(b, first + LANES.indexOf(b.kind), colour("quiet"))
        ctx.restore()
      }
      return new uPlot(this.options(size, {
        scales: { y: { range: [0, n] } }, series: [{}, { paths: () => null, points: { show: false } }],
        y: { splits: () => rows.map((_, i) => n - i - 0.5), values: () => rows, grid: { show: false }, ticks: { show: false }, gap: 4, space: 1 },
        hooks: { draw: [draw] },
      }), [[this.whole[0], this.whole[1]], [null, null]], el)
    })
  }

  // shade marks the windows that count through all panels.
  shade(u) {
    const ctx = u.ctx
    ctx.save()
    for (const b of this.bars.accepted) {
      const l = Math.max(u.valToPos(b.from, "x", true), u.bbox.left), r = Math.min(u.valToPos(b.to, "x", true), u.bbox.left + u.bbox.width)
      if (r <= l) continue
      ctx.fillStyle = colour("shade")
      ctx.fillRect(l, u.bbox.top, r - l, u.bbox.height)
    }
    ctx.restore()
  }

  // read tells what stands at the pointer.
  read(u) {
    if (u.cursor.left == null || u.cursor.left < 0 || !this.view) return
    const t = u.posToVal(u.cursor.left, "x")
    if (this.readAt === t) return
    this.readAt = t
    this.tellAt(t)
    this.onCursor?.(t)
  }

  tellAt(t) {
    const { time, channels } = this.view
    let i = 0, j = time.length - 1
    while (i < j) {
      const m = (i + j) >> 1
      if (time[m] < t) i = m + 1
      else j = m
    }
    const sys = this.c.sys, at = (key) => channels[key]?.mean[i]
    const rpm = this.engines.map((e) => at("rpm_" + e)).map((v) => fixed(v)).join(" / ")
    const run = this.bars.runs.find((b) => b.from <= t && t < b.to), w = this.bars.windows.find((b) => b.from <= t && t < b.to)
    put(this.readout, h("b", null, clock(t * 1000)), " · ", [
      known(at("sog_kn")) && unit(fixed(at("sog_kn"), 1), "kn"), rpm && unit(rpm, "rpm"), known(at("fuel_lph")) && unit(fixed(sys.burn(at("fuel_lph")), 1), sys.burnUnit),
      known(at("power_kw")) && unit(fixed(at("power_kw"), 1), "kW"),
      run && words(run.kind), w && `window ${w.id}: ${w.what}`].filter(Boolean).join(" · "))
  }

  // touch lets two fingers zoom and one finger, moved sideways, shift.
  touch(u) {
    const fingers = new Map()
    let grip = null
    const x = (e) => u.posToVal(e.clientX - u.over.getBoundingClientRect().left, "x")
    u.over.style.touchAction = "pan-y"
    const begin = () => {
      const list = [...fingers.values()]
      grip = list.length ? list.map(x) : null
    }
    u.over.addEventListener("pointerdown", (e) => {
      if (e.pointerType !== "touch") return
      fingers.set(e.pointerId, e)
      begin()
    })
    u.over.addEventListener("pointermove", (e) => {
      if (!fingers.has(e.pointerId) || !grip) return
      fingers.set(e.pointerId, e)
      const now = [...fingers.values()], left = u.over.getBoundingClientRect().left, width = u.over.clientWidth
      const f = now.map((p) => (p.clientX - left) / width)
      if (f.length === 1) {
        const span = this.to - this.from, from = grip[0] - f[0] * span
        this.go(from, from + span)
      } else if (Math.abs(f[1] - f[0]) > 0.02) {
        const span = Math.abs((grip[1] - grip[0]) / (f[1] - f[0])), from = grip[0] - f[0] * span
        this.go(from, from + span)
      }
    })
    for (const end of ["pointerup", "pointercancel"]) {
      u.over.addEventListener(end, (e) => {
        fingers.delete(e.pointerId)
        begin()
      })
    }
    u.over.addEventListener("wheel", (e) => {
      if (!e.ctrlKey && !e.shiftKey) return // the page scrolls
      e.preventDefault()
      this.zoom(e.deltaY < 0 ? 0.8 : 1.25, x(e))
    }, { passive: false })
    u.over.addEventListener("click", (e) => {
      const t = x(e), w = this.bars.windows.find((b) => b.from <= t && t < b.to)
      if (w) this.onPick?.(w.id)
    })
  }

  end() {
    clearTimeout(this.timer)
    this.asking?.abort()
    for (const p of this.panels) p.end()
  }
}

const name = (channel) => ({ sog_kn: "over ground", stw_kn: "through water", pitch_deg: "trim, bow up", roll_deg: "heel to starboard" })[channel] ?? words(channel.replace(/^rpm_/, ""))

function times(ticks) {
  const fine = ticks.length > 1 && ticks[1] - ticks[0] < 60
  return ticks.map((t) => clock(t * 1000, fine))
}

function bars(r) {
  const bar = (x) => ({ from: seconds(x.start), to: seconds(x.end) })
  const windows = r.windows.map((w) => ({ ...bar(w), id: w.id, w, what: whatOf(r, w) }))
  return {
    runs: r.runs.map((x) => ({ ...bar(x), kind: x.kind })), windows,
    accepted: windows.filter((b) => b.w.accepted && b.w.amended !== "excluded"),
    rejected: windows.filter((b) => !b.w.accepted),
    amended: windows.filter((b) => b.w.amended),
  }
}

// whatOf says what became of a window.
export function whatOf(r, w) {
  if (w.amended) return `${w.amended} by an amendment`
  if (!w.accepted) return w.reason || "no reason stated"
  const s = r.steps.find((x) => x.id === w.step)
  return s ? `counts in ${fixed(s.rpm)} rpm` : "in no step"
}
