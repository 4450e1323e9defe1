// The form where the logger wants a password.
import { h, put } from "./dom.js"

export function login(root, done) {
  const wrong = h("p", { class: "problems", role: "alert" })
  const field = h("input", { id: "password", name: "password", type: "password", autocomplete: "current-password", required: true })
  const form = h("form", { class: "form narrow", submit: send },
    h("label", { for: "password" }, "Password of this logger"), field, h("button", { class: "main" }, "Sign in"), wrong)
  put(root, h("h1", null, "Sign in"), form)
  field.focus()

  async function send(e) {
    e.preventDefault()
    put(wrong)
    try {
      const answer = await fetch("/login", { method: "POST", credentials: "same-origin",
        headers: { "Content-Type": "application/json" }, body: JSON.stringify({ password: field.value }) })
      if (answer.ok) return done()
      const body = await answer.json().catch(() => ({}))
      put(wrong, body.error || "This password was not accepted.")
    } catch {
      put(wrong, "The logger does not answer. Is this device still on its network?")
    }
    field.select()
  }
  return {}
}
