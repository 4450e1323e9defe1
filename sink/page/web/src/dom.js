// Elements in one call. What comes from the boat or from a person is always
// text, never markup.

// h makes an element: attributes (functions are listeners; null, undefined and
// false leave one out), then children (text, nodes, lists; null leaves one out).
export function h(tag, attributes, ...children) {
  return fill(document.createElement(tag), attributes, children)
}

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value == null || value === false) continue
    if (typeof value === "function") element.addEventListener(name, value)
    else element.setAttribute(name, value === true ? "" : value)
  }
  element.append(...nodes(children))
  return element
}

function nodes(children) {
  return children.flat(Infinity).filter((c) => c != null && c !== false)
}

// put replaces what an element holds.
export function put(element, ...children) {
  element.replaceChildren(...nodes(children))
  return element
}

// text changes an element's text only where it differs: screen readers and
// selections are left alone.
export function text(element, value) {
  if (element.textContent !== value) element.textContent = value
}

// box is a part that scrolls sideways in itself, by keyboard too.
export function box(label, ...children) {
  return h("div", { class: "scroll", role: "region", "aria-label": `${label}, table`, tabindex: 0 }, ...children)
}

// facts is a list of names and values; pairs without a value are left out.
export function facts(pairs) {
  const kept = pairs.filter((p) => p && p[1] != null && p[1] !== "")
  return h("dl", null, kept.map(([name, value]) => [h("dt", null, name), h("dd", null, value)]))
}

// table makes one from columns [{title, unit, text}] and rows
// [{cells, attributes}]; the first cell of a row is its header. What is quiet,
// caption or title of a column, is told but not shown.
export function table(caption, columns, rows, { quiet, ...attributes } = {}) {
  const side = (i) => (columns[i].text ? "text" : null)
  return h("table", attributes,
    h("caption", { class: quiet ? "unseen" : null }, caption),
    h("thead", null, h("tr", null, columns.map((c, i) => h("th", { scope: "col", class: side(i) },
      c.quiet ? h("span", { class: "unseen" }, c.title) : c.title, c.unit && h("small", null, " ", c.unit))))),
    h("tbody", null, rows.map((row) => h("tr", row.attributes, row.cells.map((cell, i) =>
      h(i === 0 ? "th" : "td", { scope: i === 0 ? "row" : null, class: side(i) }, cell))))))
}
