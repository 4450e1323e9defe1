// Windows are excluded and an amendment is withdrawn, with the keyboard alone.
import { absent, accessible, assert, ask, drawn, end, fits, open, until } from "./browser.mjs"

const forgive = (words, url) => absent(words, url) || words.includes("422") // a merge is refused
const page = await open("#/day/1", { forgive })
await drawn(page)

// reach goes on with the Tab key until an element has the focus.
async function reach(selector, back = false) {
  for (let i = 0; i < 600; i++) {
    if (await page.evaluate((s) => document.activeElement?.matches(s), selector)) return
    await page.keyboard.press(back ? "Shift+Tab" : "Tab")
  }
  assert.fail(`${selector} is not reached with the keyboard`)
}
const alert = () => page.locator(".amend .problems").textContent()

const first = await page.evaluate(async () => {
  const r = await (await fetch("/api/trials/1/results")).json()
  return r.steps.find((s) => s.id === r.best.top_speed_step).windows[0]
})
const before = await page.evaluate(() => document.querySelector(".steps tbody").textContent)

// What is missing is named, one after the other, and nothing is sent.
await reach(".amend button.main")
await page.keyboard.press("Enter")
assert.match(await alert(), /Choose a window/)
await reach(`#choose-${first}`)
await page.keyboard.press("Space")
await until(page, (id) => document.querySelector("#amend-chosen").textContent.includes(`window ${id}.`), first)
await reach("#amend-name")
await page.keyboard.press("Enter")
assert.match(await alert(), /name is needed/)
await page.keyboard.type("A. Person")
await page.keyboard.press("Enter")
assert.match(await alert(), /reason is needed/)
await reach("#amend-reason")
await page.keyboard.type("A ferry's wake")
await page.keyboard.press("Enter")
await until(page, () => document.querySelector("[data-amendment='1']")?.textContent.includes("in force"))
await until(page, () => document.querySelector(".amend .done").textContent.includes("Amendment 1 is kept"))

// The window is marked, the step says what it was without.
await until(page, (id) => document.querySelector(`[data-window='${id}']`).textContent.includes("excluded by an amendment"), first)
await until(page, () => document.querySelector("tr.original")?.textContent.includes("without amendments"))
assert.notEqual(await page.evaluate(() => document.querySelector(".steps tbody").textContent), before)
const earlier = await page.evaluate(() => [...document.querySelectorAll(".answer .original")].map((e) => e.textContent))
assert.ok(earlier.length > 0 && earlier.every((t) => /^Without amendments: (none|\d)/.test(t)), `beside the answers stands ${earlier}`)
await accessible(page, "amended")
await page.emulateMedia({ colorScheme: "dark" })
await accessible(page, "amended, night")
await page.setViewportSize({ width: 360, height: 740 })
await fits(page, "amended, telephone")
await page.setViewportSize({ width: 1200, height: 900 })
await ask("compare")

// Merging windows of two directions is refused in plain words, and nothing
// changes.
const two = await page.evaluate(() => {
  const rows = [...document.querySelectorAll(".windows tr:not(.rejected):not(.amended)[data-window]")]
  return rows.slice(-2).map((r) => Number(r.dataset.window))
})
for (const id of two) {
  await reach(`#choose-${id}`)
  await page.keyboard.press("Space")
}
await reach("[name=amend-action]")
await page.keyboard.press("ArrowDown")
await reach("#amend-reason")
await page.keyboard.type("By mistake")
await page.keyboard.press("Enter")
await until(page, () => document.querySelector(".amend .problems").textContent.length > 10)
await ask("compare")

// Withdrawn, everything is as it was.
await reach("[data-amendment='1'] button", true)
await page.keyboard.press("Enter")
assert.equal(await page.evaluate(() => document.activeElement.id), "amend-reason")
await page.keyboard.press("Control+A")
await page.keyboard.type("There was no ferry")
await page.keyboard.press("Enter")
await until(page, () => document.querySelector("[data-amendment='1']").textContent.includes("withdrawn"))
await until(page, (was) => document.querySelector(".steps tbody").textContent === was, before)
await ask("compare")
await end()
