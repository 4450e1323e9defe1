// The documentation's picture of a day, from the page of the demo:
//
//   logd demo && logd page --journal out
//   PICTURES=testdata node sink/page/web/test/pictures.mjs http://127.0.0.1:8642
//
// Those of the live page are taken by live.mjs with the same variable.
import { drawn, end, open, picture } from "./browser.mjs"

const page = await open("#/day/1", { width: 1200, height: 1500 })
await drawn(page)
await page.evaluate(() => document.querySelector("#curves").scrollIntoView())
await picture(page, "page-day")
await end()
