// The live stream, and how the connection stands. It is taken up again by
// itself after whatever ended it.
import { live as askLive } from "./api.js"

const FIRST_WAIT = 500 // ms, doubled up to LONGEST_WAIT
const LONGEST_WAIT = 5000
const SILENCE = 20000 // ms after which a stream that says nothing is begun anew

// stream calls onLive with each state, onTrial when a trial changed, and
// onState with "connecting", "connected", "lost" or "signed out".
export function stream({ onLive, onTrial, onState }) {
  let source = null, timer = 0, wait = FIRST_WAIT, ended = false

  function watch() {
    clearTimeout(timer)
    timer = setTimeout(again, SILENCE)
  }

  function open() {
    if (ended) return
    source = new EventSource("/api/live/stream")
    source.addEventListener("open", () => {
      wait = FIRST_WAIT
      onState("connected")
      watch()
    })
    source.addEventListener("live", (e) => {
      watch()
      onLive(JSON.parse(e.data))
    })
    source.addEventListener("trial", () => onTrial())
    source.addEventListener("error", () => lost())
  }

  function lost() {
    source?.close()
    onState("lost")
    clearTimeout(timer)
    timer = setTimeout(again, wait)
    wait = Math.min(2 * wait, LONGEST_WAIT)
  }

  // again asks once before the stream is opened: a stream cannot tell that a
  // password is wanted.
  async function again() {
    source?.close()
    if (ended) return
    try {
      await askLive()
    } catch (e) {
      if (e.status === 401) return onState("signed out")
      return lost()
    }
    open()
  }

  onState("connecting")
  again()
  return {
    end() {
      ended = true
      clearTimeout(timer)
      source?.close()
    },
    now: again,
  }
}
