// Amendments: windows that a person takes out or joins, with name and reason.
// What was measured stays; the figures without amendments stand beside.
import { amend as send } from "./api.js"
import { box, h, put, table, text } from "./dom.js"
import { clock, date, listed, sentence } from "./format.js"

const NAME = "trialday-name"

export function amendments(c, draft) {
  const made = c.results.amendments ?? []
  const chosen = new Set(draft?.chosen ?? [])
  let withdraws = draft?.withdraws ?? 0, busy = false
  const a = { chosen, element: null, onChoice: null }

  const name = h("input", { id: "amend-name", autocomplete: "name", required: true, maxlength: 100, value: draft?.name ?? remembered() })
  const reason = h("input", { id: "amend-reason", required: true, maxlength: 500, value: draft?.reason ?? "" })
  const radio = (value, title) => h("label", null, h("input", { type: "radio", name: "amend-action", value, checked: (draft?.action ?? "exclude") === value, change: () => tell() }), " ", title)
  const actions = h("fieldset", null, h("legend", null, "What to do"),
    radio("exclude", "Exclude: the chosen windows count in no step"),
    radio("merge", "Merge: the chosen windows, of one rpm and one direction, count as one pass"))
  const windows = h("p", { id: "amend-chosen" }), wrong = h("p", { class: "problems", role: "alert" }), done = h("p", { class: "done", role: "status" }, draft?.done ?? "")
  const submit = h("button", { class: "main" }, "Amend"), cancel = h("button", { type: "button", click: () => stop() }, "Do not withdraw")
  const form = h("form", { class: "form", novalidate: true, "aria-labelledby": "amend-title", submit: go },
    h("h3", { id: "amend-title" }, "Amend"),
    h("p", { class: "small" }, "A person may take windows out or join them. The measurement stays as it was; name, time and reason are kept with the trial and stand on its sheet."),
    windows, actions,
    h("div", { class: "fields" },
      h("div", null, h("label", { for: "amend-name" }, "Your name"), name),
      h("div", { class: "long" }, h("label", { for: "amend-reason" }, "Reason"), reason)),
    h("div", { class: "tools" }, submit, cancel), wrong, done)

  const action = () => (withdraws ? "withdraw" : form.elements["amend-action"].value)

  function tell() {
    const ids = [...chosen].sort((x, y) => x - y)
    actions.hidden = Boolean(withdraws)
    cancel.hidden = !withdraws
    text(submit, withdraws ? `Withdraw amendment ${withdraws}` : action() === "merge" ? "Merge the windows" : "Exclude the windows")
    text(windows, withdraws ? `Amendment ${withdraws} will be withdrawn.` : ids.length
      ? `Chosen: ${ids.length === 1 ? "window" : "windows"} ${listed(ids.map(String))}.` : "No window is chosen yet: choose in the table above, or on the timeline.")
  }

  a.choose = (id, on) => {
    if (on) chosen.add(id)
    else chosen.delete(id)
    tell()
    a.onChoice?.()
  }

  function stop() {
    withdraws = 0
    tell()
  }

  // fault names the first thing that is missing, and goes there.
  function fault() {
    const need = action() === "merge" ? 2 : 1
    if (!withdraws && chosen.size < need) return [need === 2 ? "Choose two or more windows to merge." : "Choose a window first.", document.getElementById("window-filter")]
    if (!name.value.trim()) return ["Your name is needed: it is kept with the amendment.", name]
    if (!reason.value.trim()) return ["A reason is needed: it is kept with the amendment.", reason]
    return null
  }

  async function go(e) {
    e.preventDefault()
    if (busy) return
    put(wrong)
    put(done)
    const bad = fault()
    for (const field of [name, reason]) field.toggleAttribute("aria-invalid", bad?.[1] === field)
    if (bad) {
      put(wrong, bad[0])
      bad[1]?.focus()
      return
    }
    busy = true
    text(submit, "Deriving the figures again …")
    try {
      const kept = await send(c.number, { name: name.value.trim(), reason: reason.value.trim(), action: action(),
        window_ids: withdraws ? [] : [...chosen].sort((x, y) => x - y), withdraws })
      remember(name.value.trim())
      put(done, `Amendment ${kept.id} is kept, and the figures are derived again.`)
      chosen.clear()
      withdraws = 0
      reason.value = ""
      await c.reload()
    } catch (e) {
      put(wrong, sentence(e.message))
    }
    busy = false
    tell()
  }

  const list = made.length > 0 && [h("h3", null, "Amendments"), box("Amendments", table("Amendments",
    [{ title: "No." }, { title: "When", text: true }, { title: "Who", text: true }, { title: "What", text: true }, { title: "Reason", text: true }, { title: "State", text: true }, { title: "Withdraw", text: true, quiet: true }],
    made.map((m) => ({
      attributes: { "data-amendment": m.id },
      cells: [String(m.id), `${date(m.time)}, ${clock(m.time)}`, m.name, what(m), m.reason, standing(made, m),
        m.action !== "withdraw" && !withdrawn(made, m) ? h("button", { type: "button", class: "plain", "aria-label": `withdraw amendment ${m.id}`, click: () => {
          withdraws = m.id
          tell()
          reason.focus()
        } }, "withdraw") : ""],
    })), { class: "wide", quiet: true }))]
  a.element = h("div", { class: "amend" }, list, form)
  a.draft = () => ({ chosen: [...chosen], name: name.value, reason: reason.value, action: form.elements["amend-action"].value, withdraws, done: done.textContent })
  tell()
  return a
}

const withdrawn = (made, m) => made.find((x) => x.action === "withdraw" && x.withdraws === m.id)

function standing(made, m) {
  const by = withdrawn(made, m)
  if (by) return `withdrawn by ${by.id}`
  if (m.action === "withdraw") return m.applied ? "in force" : sentence(m.why)
  return m.applied ? "in force" : `not in force: ${m.why}`
}

function what(m) {
  if (m.action === "withdraw") return `withdraws ${m.withdraws}`
  const ids = m.windows.map((x) => x.id ?? clock(x.start))
  return `${m.action === "merge" ? "merges" : "excludes"} ${ids.length === 1 ? "window" : "windows"} ${listed(ids.map(String))}`
}

function remembered() {
  try {
    return sessionStorage.getItem(NAME) ?? ""
  } catch {
    return ""
  }
}

function remember(name) {
  try {
    sessionStorage.setItem(NAME, name)
  } catch { /* then it is typed again */ }
}
