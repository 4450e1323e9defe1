// The page of a boat that batteries drive, alone or beside fuel, live and of the day, on
// a telephone and on a desk. DRIVE is electric or hybrid.
import { absent, accessible, assert, end, fits, open, picture, until } from "./browser.mjs"

const drive = process.env.DRIVE, hybrid = drive === "hybrid"
for (const [width, height] of [[390, 844], [1280, 800]]) {
  const page = await open("#/", { width, height })
  await until(page, () => document.querySelector(".sofar"))
  const answers = await page.evaluate(() => Object.fromEntries([...document.querySelectorAll(".figures .answer")]
    .map((a) => [a.querySelector("h2").textContent, a.querySelector(".value").textContent])))
  const energy = hybrid ? "Energy from batteries" : "Energy per mile"
  assert.deepEqual(Object.keys(answers), ["Speed over ground", ...(hybrid ? ["Burn", "Economy"] : []), "Battery power", energy, "State of charge", "Run"])
  assert.match(answers["Battery power"], /^\u2212?\d+\.\d kW$/)
  assert.match(answers[energy], /^\u2212?\d+ Wh\/nm$/)
  assert.match(answers["State of charge"], /^\d+ %$/)
  const heads = await page.locator(".sofar thead th").allTextContents()
  assert.deepEqual(heads.slice(4), [...(hybrid ? ["Burn L/h"] : []), "Power kW", "Energy Wh/nm"])
  assert.match(await page.locator(".sofar tbody tr").first().textContent(), /\d/)
  await accessible(page, `live, ${drive}, ${width} px`)
  await fits(page, `live, ${drive}, ${width} px`)
  await picture(page, `${drive}-${width}`)
  await page.context().close()
}

for (const [width, height] of [[390, 844], [1280, 800]]) {
  const page = await open("#/day/1", { width, height, forgive: absent })
  await page.locator("#curves canvas").nth(2).waitFor()
  const answers = await page.evaluate(() => Object.fromEntries([...document.querySelectorAll(".answers .answer")]
    .map((a) => [a.querySelector("h2").textContent, a.querySelector(".value").textContent])))
  const [least, range, used] = Object.entries(answers).slice(-3)
  assert.equal(Object.keys(answers).length, hybrid ? 7 : 4)
  assert.match(least[0], /^Least energy per mile/)
  assert.match(least[1], /^\d+ Wh\/nm$/)
  assert.match(range[0], hybrid ? /^Best range on batteries/ : /^Best range on the plane/)
  assert.match(range[1], /^\d+(\.\d)? nm$/)
  assert.match(used[1], /^\d+\.\d kWh$/)
  const heads = (await page.locator("#steps thead th").allTextContents()).join("|")
  assert.equal(heads.includes("Burn"), hybrid, heads)
  assert.ok(heads.includes("Power kW|Energy Wh/nm|Range"), heads)
  const plots = await page.locator("#curves figcaption").allTextContents()
  assert.equal(plots.length, hybrid ? 5 : 3)
  assert.ok(plots.includes("Energy per mile, Wh/nm, against rpm"), plots)
  await page.locator("#timeline figcaption").first().waitFor() // it comes in a request of its own
  const drawn = await page.locator("#timeline figcaption").allTextContents()
  assert.ok(drawn.includes("Battery power, kW"), drawn)
  assert.equal(drawn.some((x) => x.startsWith("Burn")), hybrid, drawn)
  const columns = (await page.locator("table.windows thead th").allTextContents()).join("|")
  assert.ok(columns.includes(hybrid ? "Speed kn|Burn L/h|Power kW|rpm" : "Speed kn|Power kW|rpm"), columns)
  assert.equal(await page.evaluate(() => new Set([...document.querySelectorAll("table.windows tr")].map((r) => r.children.length)).size), 1)
  await accessible(page, `day, ${drive}, ${width} px`)
  await fits(page, `day, ${drive}, ${width} px`)
  await picture(page, `day-${drive}-${width}`)
  await page.evaluate(() => document.querySelector("#steps").scrollIntoView())
  await picture(page, `steps-${drive}-${width}`)
  await page.evaluate(() => document.querySelector("#timeline").scrollIntoView())
  await picture(page, `timeline-${drive}-${width}`)
  await page.evaluate(() => document.querySelector("table.windows").scrollIntoView())
  await picture(page, `windows-${drive}-${width}`)
  await page.context().close()
}
await end()
