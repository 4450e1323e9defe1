// What the checks in a browser share. A check is a program: it is given the
// page's address, talks with the test that started it over standard output and
// input, and ends with an error where something is not as it should be.
import assert from "node:assert/strict"
import { readFile } from "node:fs/promises"
import { createRequire } from "node:module"
import { createInterface } from "node:readline"
import { chromium } from "playwright-core"

export { assert }
export const base = process.argv[2]
const pictures = process.env.PICTURES

const PATIENCE = Number(process.env.PATIENCE ?? 120) * 1000 // ms, for a condition on a busy machine

const lines = createInterface({ input: process.stdin })[Symbol.asyncIterator]()

// absent tells of a file that a trial has not: the page asks before it offers one.
export const absent = (words, url) => words.includes("404") && /\/trials\/\d+\/\w+\.\w+$/.test(url)

// ask has the test do something, and waits until it is done.
export async function ask(what) {
  console.log("do: " + what)
  const { value } = await lines.next()
  assert.equal(value, "done", `${what}: ${value}`)
}

export const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", // the profile is a new one each time
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--disable-dev-shm-usage"],
  timeout: PATIENCE,
})

const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8")

// open opens the page at a place such as "#/days". Errors of the page, and what
// its content policy forbade, end the check.
export async function open(place, { width = 1200, height = 900, scheme = "light", touch = false, forgive = () => false, ...more } = {}) {
  const context = await browser.newContext({ viewport: { width, height }, colorScheme: scheme, hasTouch: touch, timezoneId: "UTC", reducedMotion: "reduce", ...more })
  context.setDefaultTimeout(PATIENCE)
  const page = await context.newPage()
  page.on("pageerror", (e) => fail(`the page failed: ${e.stack}`))
  page.on("console", (m) => {
    if (m.type() === "error" && !forgive(m.text(), m.location().url)) fail(`the page complained: ${m.text()} ${m.location().url}`)
  })
  await page.goto(base + "/" + place)
  return page
}

function fail(words) {
  console.error(words)
  process.exit(1)
}

// accessible checks the page with axe-core.
export async function accessible(page, what) {
  await page.evaluate(axe)
  const { violations } = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }))
  assert.deepEqual(violations.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.target + " " + n.failureSummary).join(" | ")}`), [], `${what}: axe-core`)
}

// fits checks that nothing makes the page itself scroll sideways, once what
// follows its width has done so.
export async function fits(page, what) {
  try {
    await page.waitForFunction(() => document.documentElement.scrollWidth <= document.documentElement.clientWidth, null, { timeout: PATIENCE / 4 })
  } catch {
    fail(what + " scrolls sideways: " + await page.evaluate(() => {
      const room = document.documentElement.clientWidth
      const past = [...document.querySelectorAll("main *, #bar *")].find((e) => !e.closest(".scroll, .unseen") && e.getBoundingClientRect().right > room + 1)
      return `${document.documentElement.scrollWidth} px in ${room} px ${past?.outerHTML.slice(0, 160)}`
    }))
  }
}

// drawn waits until a day stands there, with its plots.
export async function drawn(page) {
  await page.locator("#timeline .charts canvas").nth(3).waitFor()
  await page.locator("#curves canvas").nth(2).waitFor()
  await page.waitForFunction(() => document.querySelector("#track canvas")?.getAttribute("aria-label")?.includes("from west to east"))
}

// until waits for a condition in the page; if it does not come, what the page
// says is told.
export async function until(page, f, arg) {
  try {
    await page.waitForFunction(f, arg, { polling: 50 })
  } catch (e) {
    fail(`${e.stack}\nwaiting for ${f} ${arg ?? ""}\nthe page says: ${await page.evaluate(() => document.body.innerText.slice(0, 4000)).catch(String)}`)
  }
}

// picture takes one for the documentation, where PICTURES names a folder.
export async function picture(page, name) {
  if (pictures) await page.screenshot({ path: `${pictures}/${name}.png` })
}

export async function end() {
  await browser.close()
  process.exit(0)
}
