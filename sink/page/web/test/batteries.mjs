// The live page of a boat that batteries drive, alone or beside fuel, on a telephone
// and on a desk. DRIVE is electric or hybrid.
import { accessible, assert, end, fits, open, picture, until } from "./browser.mjs"

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
await end()
