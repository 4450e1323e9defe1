// What the server answers. A failure is an Error with one plain sentence.

class Refused extends Error {
  constructor(message, status) {
    super(message)
    this.status = status
  }
}

async function ask(path, options) {
  let answer
  try {
    answer = await fetch(path, { cache: "no-store", credentials: "same-origin", ...options })
  } catch (e) {
    if (e.name === "AbortError") throw e
    throw new Refused("The logger does not answer. Is this device still on its network?", 0)
  }
  if (answer.ok) return answer
  const body = await answer.text()
  let message = ""
  try {
    message = JSON.parse(body).error
  } catch { /* not ours: the status tells */ }
  if (answer.status === 401) dispatchEvent(new Event("signin"))
  throw new Refused(message || `The logger refused this (${answer.status} ${answer.statusText}).`, answer.status)
}

const get = async (path, options) => (await ask(path, options)).json()
const post = (path, body) =>
  ask(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) })

export const live = () => get("/api/live")
export const trials = () => get("/api/trials")
export const results = (n) => get(`/api/trials/${n}/results`)
export const track = (n, points) => get(`/api/trials/${n}/track?points=${points}`)
export const file = (n, name) => `/api/trials/${n}/${name}`
export const amend = async (n, amendment) => (await post(`/api/trials/${n}/amendments`, amendment)).json()

// timeline asks for a stretch of a trial; from and to in s since 1970, both
// null for the whole of it.
export function timeline(n, from, to, points, signal) {
  const q = new URLSearchParams({ points })
  if (from != null) q.set("from", from.toFixed(3))
  if (to != null) q.set("to", to.toFixed(3))
  return get(`/api/trials/${n}/timeline?${q}`, { signal })
}
