// The day while it goes on, through a stop of the logger and to its end.
import { accessible, ask, assert, end, fits, open, picture, until } from "./browser.mjs"

const refused = (words) => words.includes("net::ERR_") // while the logger is stopped
const page = await open("#/", { forgive: refused })
const guide = (words) => until(page, (w) => new RegExp(w).test(document.querySelector(".guide").textContent.replaceAll("\u00a0", " ")), words)
const connection = (words) => until(page, (w) => document.querySelector(".link").textContent.includes(w), words)

await connection("Connected")
await guide("Listening")
await ask("play")
await guide("Hold \\d+ s more")
await guide("Steady for \\d+ s at \\d+ rpm on \\d{3}°")
await until(page, () => /^\d+\.\d$/.test(document.querySelector(".figures .big").textContent))
assert.equal(await page.locator(".engine").count(), 3)
await guide("Enough")
// One way is done: the page asks for the way back, on the heading opposite.
await until(page, () => /needs \d{3}°/.test(document.querySelector(".sofar")?.textContent ?? ""))
const [on, needs] = await page.evaluate(() => {
  const row = document.querySelector(".sofar tr.wanted").textContent
  return [Number(row.match(/needs (\d{3})°/)[1]), Number(row.match(/needs \d{3}°(\d{3})°/)[1])]
})
assert.ok(Math.abs(((on - needs + 540) % 360) - 180) === 180 || Math.abs(Math.abs(on - needs) - 180) <= 1, `needs ${on} after ${needs}`)
await guide(`rpm on ${String(on).padStart(3, "0")}°`)
assert.match(await page.locator("#say").textContent(), /\w/, "a screen reader is told nothing")

// The logger goes and comes back: the page says so, takes its guidance away,
// and goes on by itself.
await ask("stop")
await connection("Connection lost")
await guide("No connection")
await accessible(page, "live without a connection")
await ask("start")
await connection("Connected")
await until(page, () => document.querySelectorAll(".sofar tbody tr").length >= 2 && /Hold \d+ s more/.test(document.querySelector(".guide").textContent))
await picture(page, "page-live")
await page.setViewportSize({ width: 360, height: 740 })
await picture(page, "page-phone")
await fits(page, "live, telephone")
await page.setViewportSize({ width: 1200, height: 900 })
await ask("finish")
await until(page, () => document.querySelectorAll(".sofar tbody tr").length >= 2 && !document.querySelector(".sofar tr.wanted"))
await until(page, () => document.querySelector(".steps-so-far").textContent.includes("Nothing is missing"))
await end()
