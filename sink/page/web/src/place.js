// A view that is drawn anew keeps its place: focus and caret, what was scrolled
// and what was opened.

// keepPlace notes all that; what it returns puts it back.
export function keepPlace(root) {
  const active = document.activeElement, id = root.contains(active) ? active.id : ""
  const caret = id && active.type === "text" ? [active.selectionStart, active.selectionEnd] : null
  const boxes = new Map([...root.querySelectorAll(".scroll")].map((b) => [b.getAttribute("aria-label"), [b.scrollLeft, b.scrollTop]]))
  const opened = new Set([...root.querySelectorAll("details[open]")].map(nameOf))
  const at = scrollY
  return () => {
    for (const d of root.querySelectorAll("details")) d.open = opened.has(nameOf(d))
    for (const b of root.querySelectorAll(".scroll")) [b.scrollLeft, b.scrollTop] = boxes.get(b.getAttribute("aria-label")) ?? [0, 0]
    if (id) {
      const now = document.getElementById(id)
      now?.focus({ preventScroll: true })
      if (caret) now?.setSelectionRange(...caret)
    }
    scrollTo(0, at)
  }
}

const nameOf = (details) => details.querySelector("summary").textContent.replace(/ \(.*/, "")
