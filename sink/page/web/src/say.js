// What a screen reader is told while the page goes on by itself: few
// sentences, the newest only, never more often than every six seconds.

const PAUSE = 6000
let last = 0, waiting = "", timer = 0

export function say(sentence) {
  waiting = sentence
  clearTimeout(timer)
  timer = setTimeout(() => {
    last = Date.now()
    document.getElementById("say").textContent = waiting
  }, Math.max(0, last + PAUSE - Date.now()))
}
