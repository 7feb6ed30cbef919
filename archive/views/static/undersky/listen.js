/* Plays a passage where its card stands. Without this script the link leads to the page that plays it.

   <a data-sound="address of the sound" data-at-ms="where to begin" data-word-page="words for the link then">
   What the council would have said before is on the card already. A second press on the link opens the page;
   so does a sound that can't be had, since the page says why. */

const SPEED_KEY = "undersky-speed";

function keptSpeed() {
  try {
    return Number(window.localStorage.getItem(SPEED_KEY)) || 1;
  } catch (_refused) {
    return 1;
  }
}

function listen(link) {
  document.querySelectorAll("audio").forEach((other) => other.pause());
  const sound = document.createElement("audio");
  sound.controls = true;
  sound.className = "listened";
  sound.setAttribute("aria-label", link.dataset.label);
  sound.addEventListener("error", () => window.location.assign(link.href));
  sound.addEventListener("loadedmetadata", () => {
    sound.currentTime = Number(link.dataset.atMs) / 1000;
    sound.playbackRate = keptSpeed();
    sound.play().catch(() => {}); // where a browser wants one more press, its own button is there
  }, { once: true });
  sound.src = link.dataset.sound;
  link.parentElement.before(sound);
  link.textContent = link.dataset.wordPage;
  link.classList.remove("play");
  delete link.dataset.sound;
  sound.focus();
}

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-sound]");
  if (!link || event.button || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  listen(link);
});
