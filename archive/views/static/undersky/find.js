/* Undersky: what was found plays in its card, from the second at which the words stand.

   The button is a link to the passage's page at that second: without this script, and where the sound is not ready or
   cannot be played, it leads there.
*/
"use strict";

document.addEventListener("click", (event) => {
  const link = event.target.closest(".cards a.play");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  playInPlace(link);
});

function playInPlace(link) {
  const sound = document.createElement("audio");
  sound.controls = true;
  sound.className = "card-sound";
  sound.setAttribute("aria-label", link.textContent);
  sound.addEventListener("error", () => location.assign(link.href));
  sound.addEventListener("play", () => pauseOthers(sound));
  sound.src = `${link.pathname}sound${link.hash}`; // #t=seconds: W3C Media Fragments URI 1.0, section 4.2.1
  link.replaceWith(sound);
  sound.focus();
  sound.play().catch(() => {}); // where a browser will not start by itself, its own button does
}

function pauseOthers(sound) {
  for (const other of document.querySelectorAll(".card-sound")) {
    if (other !== sound) other.pause();
  }
}
