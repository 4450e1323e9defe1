// Speed, burn and economy against rpm, with their intervals.
import { h } from "./dom.js"
import { burnsNothing, electricOf } from "./electric.js"
import { known } from "./format.js"
import { originalOf } from "./original.js"
import { axis, colour, frame, font, rem, uPlot } from "./plot.js"

export function curves(c) {
  const r = c.results, sys = c.sys
  const from = r.steps.find((s) => s.fuel_from)?.fuel_from, source = from ? `, from ${from}` : ""
  const kinds = [
    { title: `Speed, kn`, of: (s) => s.speed_kn, marks: ["top_speed_step"], rising: true },
    ...(burnsNothing(r) ? [] : ofFuel()), ...(r.electric ? ofBatteries() : []),
  ]
  const plots = []
  const element = h("div", { class: "grid" }, kinds.map((k) => {
    const drawn = r.steps.filter((s) => k.of(s))
    if (!drawn.length) return h("figure", null, h("figcaption", null, `${k.title}, against rpm`), h("p", { class: "none" }, "Not derived."))
    const p = frame(`${k.title} against rpm, ${drawn.length} steps; the figures stand in the table of steps`, 17, (el, size) => curve(el, size, c, k))
    plots.push(p)
    return h("figure", null, h("figcaption", null, `${k.title}, against rpm`), p.element)
  }))
  return {
    element: h("div", null, element, h("p", { class: "small" }, "Bars are 95 % intervals. Filled: current taken out. Open ring: one direction only.",
      originalOf(r) && " Diamond: without amendments.")),
    end: () => plots.forEach((p) => p.end()),
  }

  function ofFuel() {
    return [
      { title: `Burn, ${sys.burnUnit}${source}`, of: (s) => sys.burnOf(s.fuel_lph), marks: ["cruise_step"], rising: true },
      { title: `Economy, ${sys.economyUnit}${source}`, of: (s) => sys.economyOf(s.economy_nm_per_l), marks: ["best_planing_economy_step", "best_economy_step"] },
    ]
  }

  // Batteries' figures are those of steps that they alone drove.
  function ofBatteries() {
    const of = (key) => (s) => {
      const e = electricOf({ electric: r.steps.includes(s) ? r.electric : r.original_electric }, s)
      return e?.nm_per_kwh ? e[key] : null
    }
    return [{ title: "Battery power, kW", of: of("power_kw"), marks: [], rising: true }, { title: "Energy per mile, Wh/nm", of: of("wh_per_nm"), marks: [] }]
  }
}

const NAMES = { top_speed_step: "top speed", cruise_step: "near cruise", best_planing_economy_step: "best on plane", best_economy_step: "best economy" }

function curve(el, size, c, kind) {
  const r = c.results, steps = r.steps.filter((s) => kind.of(s))
  const original = (originalOf(r) ?? []).filter((s) => kind.of(s))
  const most = Math.max(...r.steps.map((s) => s.engines.length))
  const points = (list) => list.map((s) => [s.rpm, kind.of(s), s])
  const tops = [...points(steps), ...points(original)].map(([, i]) => Math.max(i.mean, i.hi95 ?? i.mean))
  const low = Math.min(...steps.map((s) => s.rpm)), high = Math.max(...steps.map((s) => s.rpm)), pad = Math.max(50, 0.05 * (high - low))
  const max = Math.max(...tops)

  function draw(u) {
    const ctx = u.ctx, dpr = devicePixelRatio
    ctx.save()
    const at = ([rpm, i]) => [u.valToPos(rpm, "x", true), u.valToPos(i.mean, "y", true)]
    ctx.strokeStyle = ctx.fillStyle = colour("accent")
    ctx.lineWidth = 1.5 * dpr
    ctx.beginPath()
    points(steps.filter((s) => s.current_corrected && s.engines.length === most)).forEach((p, n) => ctx[n ? "lineTo" : "moveTo"](...at(p)))
    ctx.stroke()
    for (const p of points(steps)) mark(ctx, u, at(p), p[1], p[2].current_corrected ? "filled" : "ring", dpr)
    for (const p of points(original.filter((s) => !r.steps.some((x) => JSON.stringify(kind.of(x)) === JSON.stringify(kind.of(s)))))) mark(ctx, u, at(p), p[1], "diamond", dpr)
    ctx.fillStyle = colour("ink")
    ctx.font = scaledFont(dpr)
    ctx.textAlign = "left"
    const named = new Set()
    for (const key of kind.marks) {
      const s = steps.find((x) => x.id === r.best[key])
      if (!s || named.has(s)) continue
      named.add(s)
      // Beside a rising curve, above one that is not.
      const [x, y] = at([s.rpm, kind.of(s)]), width = ctx.measureText(NAMES[key]).width, left = kind.rising ? x - width - 9 * dpr : x - width / 2
      ctx.fillText(NAMES[key], Math.min(Math.max(left, u.bbox.left + 4 * dpr), u.bbox.left + u.bbox.width - width), Math.max(kind.rising ? y - 3 * dpr : y - 14 * dpr, u.bbox.top + 10 * dpr))
    }
    ctx.restore()
  }

  return new uPlot({
    ...size, legend: { show: false }, cursor: { show: false },
    scales: { x: { time: false, range: [Math.max(0, low - pad), high + pad] }, y: { range: [0, max * 1.15] } },
    axes: [axis({ size: 1.9 * rem() }), axis({ size: 3.1 * rem() })],
    series: [{}, { show: true, paths: () => null, points: { show: false } }],
    hooks: { draw: [draw] },
  }, [steps.map((s) => s.rpm), steps.map((s) => kind.of(s).mean)], el)
}

const scaledFont = (dpr) => font().replace(/^[\d.]+/, (n) => n * dpr)

function mark(ctx, u, [x, y], i, shape, dpr) {
  const r = 4 * dpr
  ctx.strokeStyle = ctx.fillStyle = colour({ filled: "accent", ring: "warm", diamond: "quiet" }[shape])
  if (known(i.lo95) && known(i.hi95)) {
    const lo = u.valToPos(i.lo95, "y", true), hi = u.valToPos(i.hi95, "y", true)
    ctx.beginPath()
    ctx.moveTo(x, lo)
    ctx.lineTo(x, hi)
    for (const end of [lo, hi]) {
      ctx.moveTo(x - r, end)
      ctx.lineTo(x + r, end)
    }
    ctx.stroke()
  }
  ctx.beginPath()
  if (shape === "diamond") {
    ctx.moveTo(x, y - 1.4 * r)
    for (const [dx, dy] of [[1.4, 0], [0, 1.4], [-1.4, 0], [0, -1.4]]) ctx.lineTo(x + dx * r, y + dy * r)
    ctx.stroke()
    return
  }
  ctx.arc(x, y, r, 0, 2 * Math.PI)
  if (shape === "ring") {
    ctx.fillStyle = colour("paper")
    ctx.fill()
    ctx.stroke()
  } else ctx.fill()
}
