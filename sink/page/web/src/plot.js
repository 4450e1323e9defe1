// What all plots share: colours of the scheme, fonts, sizes that follow the
// page.
import uPlot from "uplot"
import { h } from "./dom.js"
import { fixed } from "./format.js"
import { repainted } from "./settings.js"

export { uPlot }

// colour reads one of the scheme's colours: when something is drawn, so that
// another scheme needs no more than drawing again.
export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim()

// engineStroke tells engines apart by colour and by dashes.
export function engineStroke(i) {
  const colours = ["accent", "warm", "green", "ink"], dashes = [[], [6, 3], [2, 2], [8, 3, 2, 3]]
  return { stroke: () => colour(colours[i % 4]), dash: dashes[(i + Math.floor(i / 4)) % 4] }
}

export function font(size = 0.75) {
  const root = getComputedStyle(document.documentElement)
  return `${parseFloat(root.fontSize) * size}px ${root.fontFamily}`
}

export const rem = () => parseFloat(getComputedStyle(document.documentElement).fontSize)

// ticks writes values with the decimals that their spacing needs.
export function ticks(u, list) {
  const step = list.length > 1 ? list[1] - list[0] : 1
  return list.map((t) => fixed(t, Math.max(0, -Math.floor(Math.log10(step) + 1e-9))))
}

// axis is one in the scheme's colours.
export function axis(more) {
  const hair = { stroke: () => colour("hair"), width: 1 }
  return { stroke: () => colour("soft"), font: font(), grid: hair, ticks: { ...hair, size: 4 }, values: ticks, ...more }
}

// frame holds a plot, which is an image with words for who cannot see it, and
// follows its width.
export function frame(label, height, make) {
  const element = h("div", { class: "plot", role: "img", "aria-label": label })
  let plot = null
  const size = () => ({ width: Math.max(200, Math.floor(element.clientWidth)), height: Math.round(height * rem()) })
  const watch = new ResizeObserver(() => {
    if (!element.clientWidth) return
    if (!plot) {
      plot = make(element, size())
      return
    }
    const s = size()
    if (s.width !== plot.width || s.height !== plot.height) plot.setSize(s)
  })
  watch.observe(element)
  const ended = repainted(() => plot?.redraw(false))
  return {
    element,
    get plot() { return plot },
    end() {
      ended()
      watch.disconnect()
      plot?.destroy()
    },
  }
}
