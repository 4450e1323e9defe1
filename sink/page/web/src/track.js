// Where the boat went, without a chart: track, steady windows, scale, north.
import { track as ask } from "./api.js"
import { h, put, text } from "./dom.js"
import { fixed, known, seconds, unit } from "./format.js"
import { colour, font } from "./plot.js"
import { repainted } from "./settings.js"

const M_PER_DEG = 111120 // of latitude: 60 nautical miles

export function track(c) {
  const canvas = h("canvas", { role: "img", "aria-label": "Track of the day" })
  const note = h("p", { class: "small", role: "status" })
  const only = h("input", { type: "checkbox", checked: true })
  const element = h("div", { class: "track" }, h("label", { class: "tools" }, only, " fit to the range of the timeline"),
    h("div", { class: "map" }, canvas), note,
    h("p", { class: "small" }, "Thick: steady windows that count. Disc: begin; square: end. North is up."))
  let data = null, at = null
  const windows = c.results.windows.filter((w) => w.accepted && w.amended !== "excluded").map((w) => [seconds(w.start), seconds(w.end)])
  only.addEventListener("change", () => draw())
  c.timeline.listeners.add(() => only.checked && draw())
  c.timeline.onCursor = (t) => {
    at = t
    draw()
  }

  function draw() {
    if (!data || !canvas.clientWidth) return
    const dpr = devicePixelRatio, w = canvas.clientWidth, hgt = canvas.clientHeight
    canvas.width = w * dpr
    canvas.height = hgt * dpr
    const ctx = canvas.getContext("2d")
    ctx.scale(dpr, dpr)
    const { from, to } = c.timeline, inside = (i) => !only.checked || (data.time[i] >= from && data.time[i] <= to)
    const xs = [], ys = []
    data.x.forEach((x, i) => {
      if (known(x) && inside(i)) {
        xs.push(x)
        ys.push(data.y[i])
      }
    })
    if (!xs.length) return text(note, "No position in this range.")
    text(note, "")
    const [l, r, b, t] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)]
    const margin = 34, scale = Math.min((w - 2 * margin) / Math.max(r - l, 20), (hgt - 2 * margin) / Math.max(t - b, 20))
    const px = (i) => [w / 2 + (data.x[i] - (l + r) / 2) * scale, hgt / 2 - (data.y[i] - (b + t) / 2) * scale]
    const line = (test, stroke, width) => {
      ctx.strokeStyle = colour(stroke)
      ctx.lineWidth = width
      ctx.lineJoin = ctx.lineCap = "round"
      ctx.beginPath()
      let down = false
      data.time.forEach((_, i) => {
        if (!known(data.x[i]) || !test(i)) {
          down = false
          return
        }
        ctx[down ? "lineTo" : "moveTo"](...px(i))
        down = true
      })
      ctx.stroke()
    }
    line(() => true, "hair", 1)
    line(inside, "quiet", 1.3)
    line((i) => inside(i) && windows.some(([a, z]) => data.time[i] >= a && data.time[i] <= z), "accent", 4)
    const shown = data.time.map((_, i) => i).filter((i) => known(data.x[i]) && inside(i))
    ctx.fillStyle = colour("ink")
    const [bx, by] = px(shown[0]), [ex, ey] = px(shown.at(-1))
    ctx.beginPath()
    ctx.arc(bx, by, 5, 0, 7)
    ctx.fill()
    ctx.fillRect(ex - 5, ey - 5, 10, 10)
    if (at != null) here(ctx, px)
    north(ctx, w)
    scaleBar(ctx, c.sys, scale, hgt)
  }

  function here(ctx, px) {
    let best = -1
    data.time.forEach((t, i) => {
      if (known(data.x[i]) && (best < 0 || Math.abs(t - at) < Math.abs(data.time[best] - at))) best = i
    })
    if (best < 0) return
    ctx.strokeStyle = colour("warm")
    ctx.lineWidth = 3
    ctx.beginPath()
    ctx.arc(...px(best), 8, 0, 7)
    ctx.stroke()
  }

  const watch = new ResizeObserver(() => draw()), ended = repainted(draw)
  return {
    element,
    async placed() {
      watch.observe(canvas)
      try {
        data = plane(await ask(c.number, 6000))
        canvas.setAttribute("aria-label", label(data, c.sys))
        draw()
      } catch (e) {
        put(note, e.message)
      }
    },
    end() {
      ended()
      watch.disconnect()
    },
  }
}

// plane puts positions on a plane in m, good to a part in a thousand over a
// day's waters.
function plane(track) {
  const lat0 = track.lat_deg.find(known) ?? 0, lon0 = track.lon_deg.find(known) ?? 0
  const k = Math.cos((lat0 * Math.PI) / 180)
  const turn = (d) => ((((d + 180) % 360) + 360) % 360) - 180 // across the date line too
  return { ...track,
    x: track.lon_deg.map((v) => (known(v) ? turn(v - lon0) * k * M_PER_DEG : null)),
    y: track.lat_deg.map((v) => (known(v) ? (v - lat0) * M_PER_DEG : null)) }
}

function label(data, sys) {
  const xs = data.x.filter(known), ys = data.y.filter(known)
  if (!xs.length) return "Track of the day: no position was heard"
  const size = (list) => unit(fixed(sys.length(Math.max(...list) - Math.min(...list))), sys.lengthUnit)
  return `Track of the day, ${size(xs)} from west to east and ${size(ys)} from south to north`
}

function north(ctx, w) {
  const x = w - 22, y = 18
  ctx.fillStyle = colour("ink")
  ctx.beginPath()
  ctx.moveTo(x, y - 10)
  ctx.lineTo(x + 7, y + 10)
  ctx.lineTo(x, y + 5)
  ctx.lineTo(x - 7, y + 10)
  ctx.fill()
  ctx.font = font(0.85)
  ctx.textAlign = "center"
  ctx.fillText("N", x, y + 26)
}

// scaleBar is the longest round length that fits in a third of the width.
function scaleBar(ctx, sys, scale, hgt) {
  const per = sys.length(1), max = 140 / scale // m
  let value = 10 ** Math.floor(Math.log10(max * per)), name = sys.lengthUnit, m
  for (const k of [5, 2]) {
    if (k * value <= max * per) {
      value *= k
      break
    }
  }
  m = value / per
  if (max >= 1852) {
    const nm = max / 1852, base = 10 ** Math.floor(Math.log10(nm))
    value = base * ([5, 2].find((k) => k * base <= nm) ?? 1)
    m = value * 1852
    name = "nm"
  }
  const width = m * scale, y = hgt - 14
  ctx.strokeStyle = ctx.fillStyle = colour("ink")
  ctx.lineWidth = 2
  ctx.beginPath()
  ctx.moveTo(14, y - 5)
  ctx.lineTo(14, y)
  ctx.lineTo(14 + width, y)
  ctx.lineTo(14 + width, y - 5)
  ctx.stroke()
  ctx.font = font(0.85)
  ctx.textAlign = "left"
  ctx.fillText(unit(String(value), name), 18, y - 6)
}
