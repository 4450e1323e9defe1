// Where a password is asked for, nothing is shown before it.
import { accessible, assert, drawn, end, fits, open, until } from "./browser.mjs"

const refused = (words, url) => /40[134]/.test(words) // what is refused before, and a wrong password
for (const scheme of ["light", "dark"]) {
  const page = await open("#/day/1", { scheme, width: 360, height: 740, forgive: refused })
  await page.locator("#password").waitFor()
  await accessible(page, `sign in, ${scheme}`)
  await fits(page, "sign in")
  assert.equal(await page.locator(".day table").count(), 0)
  await page.keyboard.type("not this one")
  await page.keyboard.press("Enter")
  await until(page, () => document.querySelector(".form .problems").textContent.length > 5)
  await page.keyboard.type(process.env.PASSWORD)
  await page.keyboard.press("Enter")
  await drawn(page)
  await until(page, () => document.querySelector(".link").textContent.includes("Connected"))
  await page.context().close()
}
await end()
