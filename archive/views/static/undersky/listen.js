/* Plays a passage where its card stands. Without this script the link leads to the page that plays it.

   <a href="its page#t=second" data-sound="address of the sound" data-word-page="words for the link then">
   What the council would have said before is on the card already. A second press on the link opens the page;
   so does a sound that can't be had, since the page says why. */

import { keptSpeed } from "./player.js";

function listen(link) {
  const sound = document.createElement("audio");
  sound.controls = true;
  sound.className = "listened";
  sound.setAttribute("aria-label", link.dataset.label);
  sound.addEventListener("error", () => window.location.assign(link.href));
  sound.addEventListener("play", () => pauseOthers(sound));
  sound.src = link.dataset.sound + link.hash; // #t=seconds: W3C Media Fragments URI 1.0, section 4.2.1
  sound.defaultPlaybackRate = sound.playbackRate = Number(keptSpeed());
  link.parentElement.before(sound);
  link.textContent = link.dataset.wordPage;
  link.classList.remove("play");
  delete link.dataset.sound;
  sound.focus();
  sound.play().catch(() => {}); // where a browser wants one more press, its own button is there
}

function pauseOthers(sound) {
  document.querySelectorAll("audio").forEach((other) => other === sound || other.pause());
}

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-sound]");
  if (!link || event.button || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  listen(link);
});
