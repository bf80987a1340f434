// Plays the freezing front: swaps small pictures that are already in the page; no library, no request.
"use strict";
(() => {
const SPEED = 12;  // seconds of freezing shown in one second
const SHORTEST = 120, LONGEST = 700;  // milliseconds a picture stays

function start(root) {
  const book = JSON.parse(document.getElementById("lapse-data").textContent);
  const part = (name) => root.querySelector(`[data-part="${name}"]`);
  const pictures = [...root.querySelectorAll("[data-part=\"frame\"]")], slider = part("time"), play = part("play");
  const last = book.frames.length - 1;
  let timer = 0;
  const show = (at) => {
    slider.value = at;
    const time = `${book.times[at].toFixed(book.times[at] < 100 ? 1 : 0)} s`;
    pictures.forEach((picture, i) => { picture.src = `data:image/png;base64,${book.frames[at][i]}`;
      picture.alt = `State of the metal ${time} after pouring: ${book.words[at]}`; });
    part("clock").textContent = time; part("said").textContent = book.words[at];
    slider.setAttribute("aria-valuetext", `${time} from pouring`);
  };
  const stop = () => { clearTimeout(timer); timer = 0; play.textContent = "Play"; };
  const on = () => {
    const at = +slider.value;
    if (at >= last) { stop(); return; }
    show(at + 1);
    const wait = 1000 / SPEED * (book.times[Math.min(at + 2, last)] - book.times[at + 1]);
    timer = setTimeout(on, Math.min(LONGEST, Math.max(SHORTEST, wait)));
  };
  const step = (by) => { stop(); show(Math.min(last, Math.max(0, +slider.value + by))); };
  play.onclick = () => {
    if (timer) { stop(); return; }
    if (+slider.value >= last) show(0);
    play.textContent = "Pause"; timer = setTimeout(on, SHORTEST);
  };
  part("back").onclick = () => step(-1);
  part("on").onclick = () => step(1);
  slider.oninput = () => step(0);
  root.classList.add("live"); show(+slider.value); root.dataset.ready = "yes";
}
document.querySelectorAll(".lapse").forEach(start);
})();
