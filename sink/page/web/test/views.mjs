// Every view, by day and by night, from a telephone to a wall: no violation
// that axe-core finds, no sideways scrolling, the same on paper.
import { absent, accessible, assert, drawn, end, fits, open, until } from "./browser.mjs"

const SIZES = [[360, 740], [768, 1024], [1200, 900], [3840, 2160]]
const VIEWS = [
  ["live", "#/", (p) => until(p, () => document.querySelector(".guide .head")?.textContent && document.querySelector(".lamps li"))],
  ["days", "#/days", (p) => p.locator("main table").waitFor()],
  ["day", "#/day/1", drawn],
]

for (const [name, place, ready] of VIEWS) {
  for (const scheme of ["light", "dark"]) {
    const page = await open(place, { scheme, forgive: absent })
    await ready(page)
    assert.equal(await page.evaluate(() => document.documentElement.dataset.scheme), scheme === "dark" ? "night" : "day")
    await accessible(page, `${name}, ${scheme}`)
    for (const [width, height] of SIZES) {
      await page.setViewportSize({ width, height })
      await until(page, (w) => innerWidth === w, width)
      await fits(page, `${name}, ${scheme}, ${width} px`)
    }
    await page.setViewportSize({ width: 360, height: 740 })
    await accessible(page, `${name}, ${scheme}, telephone`)
    await page.context().close()
  }
}

// A telephone, touched: what is pressed is large enough, and the day zooms.
{
  const page = await open("#/day/1/timeline", { width: 360, height: 740, touch: true, forgive: absent })
  await drawn(page)
  const small = await page.evaluate(() => [...document.querySelectorAll("button:not(.plain), select, .bar a, summary")].filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < 38).map((e) => e.outerHTML.slice(0, 80)))
  assert.deepEqual(small, [], "too small for a finger")
  const range = () => page.locator(".tools .range").textContent()
  const whole = await range()
  await page.locator("button[aria-label='Zoom in']").tap()
  await until(page, (w) => document.querySelector(".tools .range").textContent !== w, whole)
  await page.locator("button[aria-label='Whole day']").tap()
  await until(page, (w) => document.querySelector(".tools .range").textContent === w, whole)
  await page.context().close()
}

// Dragging over the timeline zooms, asks for that stretch, and the track follows.
{
  const page = await open("#/day/1", { forgive: absent })
  await drawn(page)
  const over = page.locator("#timeline .u-over").nth(1)
  await over.scrollIntoViewIfNeeded()
  const b = await over.boundingBox()
  const asked = page.waitForRequest((r) => r.url().includes("/timeline?") && Number(new URL(r.url()).searchParams.get("to")) > 0)
  await page.mouse.move(b.x + b.width * 0.4, b.y + b.height / 2)
  await page.mouse.down()
  await page.mouse.move(b.x + b.width * 0.6, b.y + b.height / 2, { steps: 5 })
  await page.mouse.up()
  await asked
  await page.mouse.move(b.x + b.width * 0.5, b.y + b.height / 2)
  await until(page, () => /\d\d:\d\d:\d\d · [\d.]+\skn/.test(document.querySelector(".readout").textContent))
  // Units and zone of time.
  await page.locator(".prefer summary").click()
  await page.getByLabel("Units").selectOption("us")
  await until(page, () => [...document.querySelectorAll(".answers .unit")].some((u) => u.textContent.includes("nm/US gal")))
  await page.getByLabel("Times").selectOption("utc")
  await until(page, () => document.querySelector(".where")?.textContent.includes("UTC"))
  await page.getByLabel("Scheme").selectOption("night")
  await until(page, () => document.documentElement.dataset.scheme === "night")
  // Paper is white whatever the screen is, and carries no controls.
  await page.emulateMedia({ media: "print" })
  await until(page, () => document.documentElement.dataset.scheme === "day")
  assert.equal(await page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor), "rgb(255, 255, 255)")
  assert.equal(await page.locator("button:visible, .bar:visible, form:visible").count(), 0, "controls on paper")
  const pdf = await page.pdf({ preferCSSPageSize: false, format: "A4" })
  const pages = pdf.toString("latin1").match(/\/Type\s*\/Page\b/g).length
  assert.ok(pages >= 3 && pages <= 20, `${pages} pages of paper`)
  await page.context().close()
}
await end()
