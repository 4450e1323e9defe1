// Amendments: windows that a person takes out or joins, with name and reason.
// What was measured stays; the figures without amendments stand beside.
import { amend as send } from "./api.js"
import { box, h, table, text } from "./dom.js"
import { clock, date, listed, sentence } from "./format.js"

const NAME = "trialday-name"

// newDraft is what a person has chosen and typed so far. It outlives the form,
// which is drawn anew with every change of the results.
export const newDraft = () => ({ chosen: new Set(), action: "exclude", withdraws: 0, name: remembered(), reason: "", busy: false, done: "", wrong: "" })

export function amendments(c, draft) {
  const made = c.results.amendments ?? [], chosen = draft.chosen
  const a = { chosen, element: null, onChoice: null }

  const field = (key, more) => {
    const input = h("input", { id: "amend-" + key, type: "text", required: true, value: draft[key], input: () => (draft[key] = input.value), ...more })
    return input
  }
  const name = field("name", { autocomplete: "name", maxlength: 100 }), reason = field("reason", { maxlength: 400 })
  const radio = (value, title) => h("label", null, h("input", { type: "radio", name: "amend-action", value, id: "amend-" + value, checked: draft.action === value, change: () => {
    draft.action = value
    tell()
  } }), " ", title)
  const actions = h("fieldset", null, h("legend", null, "What to do"),
    radio("exclude", "Exclude: the chosen windows count in no step"),
    radio("merge", "Merge: the chosen windows, of one rpm and one direction, count as one pass"))
  const windows = h("p", { id: "amend-chosen" }), wrong = h("p", { class: "problems", role: "alert" }, draft.wrong), done = h("p", { class: "done", role: "status" }, draft.done)
  const submit = h("button", { class: "main", id: "amend-submit" }, "Amend"), cancel = h("button", { type: "button", click: () => withdraw(0) }, "Do not withdraw")
  const form = h("form", { class: "form", novalidate: true, "aria-labelledby": "amend-title", submit: go },
    h("h3", { id: "amend-title" }, "Amend"),
    h("p", { class: "small" }, "A person may take windows out or join them. The measurement stays as it was; name, time and reason are kept with the trial and stand on its sheet."),
    windows, actions,
    h("div", { class: "fields" },
      h("div", null, h("label", { for: "amend-name" }, "Your name"), name),
      h("div", { class: "long" }, h("label", { for: "amend-reason" }, "Reason"), reason)),
    h("div", { class: "tools" }, submit, cancel), wrong, done)

  const action = () => (draft.withdraws ? "withdraw" : draft.action)

  function tell() {
    const ids = sorted(chosen), w = draft.withdraws
    actions.hidden = Boolean(w)
    cancel.hidden = !w
    text(submit, draft.busy ? "Deriving the figures again …" : w ? `Withdraw amendment ${w}` : action() === "merge" ? "Merge the windows" : "Exclude the windows")
    text(windows, w ? `Amendment ${w} will be withdrawn.` : ids.length
      ? `Chosen: ${ids.length === 1 ? "window" : "windows"} ${listed(ids.map(String))}.` : "No window is chosen yet: choose in the table above, or on the timeline.")
    text(wrong, draft.wrong)
    text(done, draft.done)
  }

  a.choose = (id, on) => {
    if (on) chosen.add(id)
    else chosen.delete(id)
    tell()
    a.onChoice?.()
  }

  function withdraw(id) {
    draft.withdraws = id
    tell()
    if (id) reason.focus()
  }

  // fault names the first thing that is missing, and where.
  function fault() {
    const need = action() === "merge" ? 2 : 1
    if (!draft.withdraws && chosen.size < need) return [need === 2 ? "Choose two or more windows to merge." : "Choose a window first.", document.getElementById("window-filter")]
    if (!draft.name.trim()) return ["Your name is needed: it is kept with the amendment.", name]
    if (!draft.reason.trim()) return ["A reason is needed: it is kept with the amendment.", reason]
    return null
  }

  async function go(e) {
    e.preventDefault()
    if (draft.busy) return
    const bad = fault()
    for (const input of [name, reason]) input.toggleAttribute("aria-invalid", bad?.[1] === input)
    Object.assign(draft, { done: "", wrong: bad?.[0] ?? "", busy: !bad })
    tell()
    if (bad) return bad[1]?.focus()
    try {
      const kept = await send(c.number, { name: draft.name.trim(), reason: draft.reason.trim(), action: action(),
        window_ids: draft.withdraws ? [] : sorted(chosen), withdraws: draft.withdraws })
      remember(draft.name.trim())
      chosen.clear()
      Object.assign(draft, { withdraws: 0, reason: "", done: `Amendment ${kept.id} is kept, and the figures are derived again.` })
    } catch (e) {
      draft.wrong = sentence(e.message)
    }
    draft.busy = false
    await c.reload()
  }

  const list = made.length > 0 && [h("h3", null, "Amendments"), box("Amendments", table("Amendments",
    [{ title: "No." }, { title: "When", text: true }, { title: "Who", text: true }, { title: "What", text: true }, { title: "Reason", text: true }, { title: "State", text: true }, { title: "Withdraw", text: true, quiet: true }],
    made.map((m) => ({
      attributes: { "data-amendment": m.id },
      cells: [String(m.id), `${date(m.time)}, ${clock(m.time)}`, m.name, what(m), m.reason, standing(made, m),
        m.action !== "withdraw" && !withdrawn(made, m) ? h("button", { type: "button", class: "plain", "aria-label": `withdraw amendment ${m.id}`, click: () => withdraw(m.id) }, "withdraw") : ""],
    })), { class: "wide", quiet: true }))]
  a.element = h("div", { class: "amend" }, list, form)
  tell()
  return a
}

const sorted = (ids) => [...ids].sort((x, y) => x - y)
const withdrawn = (made, m) => made.find((x) => x.action === "withdraw" && x.withdraws === m.id)

function standing(made, m) {
  const by = withdrawn(made, m)
  if (by) return `withdrawn by ${by.id}`
  if (m.action === "withdraw") return m.applied ? "in force" : sentence(m.why)
  return m.applied ? "in force" : `not in force: ${m.why}`
}

function what(m) {
  if (m.action === "withdraw") return `withdraws ${m.withdraws}`
  const ids = m.windows.toSorted((x, y) => x.start.localeCompare(y.start)).map((x) => x.id ?? clock(x.start))
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
