/* The desk's pages with script: lines are heard where they stand, ticking two of them marks what lies between,
   suggested names go into their box at a press, and a sound that is being made says how far it is.

   Times are milliseconds from the start of the recording. Without this script every page works by itself. */

const ASK_EVERY_MS = 2000;

function player() {
  return document.querySelector("[data-player]");
}

/** Plays from a line's start, where the page has a player; else the link is followed. */
function hear(event) {
  const link = event.target.closest("[data-hear]");
  if (!link || !player() || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  const line = link.closest("li");
  const end = line.dataset.endMs;
  player().dispatchEvent(new CustomEvent("undersky:go", { detail: {
    start_ms: Number(line.dataset.startMs), end_ms: end === undefined ? null : Number(end) } }));
}

/* ---------- ticking lines ---------- */

function markBetween(list) {
  const lines = [...list.querySelectorAll(":scope > li")];
  const ticked = lines.filter((line) => line.querySelector('input[name="cue"]')?.checked);
  const first = lines.indexOf(ticked[0]);
  const last = lines.indexOf(ticked[ticked.length - 1]);
  lines.forEach((line, at) => line.classList.toggle("chosen", ticked.length > 0 && first <= at && at <= last));
}

function startTicking(list) {
  if (!list.querySelector('input[name="cue"]')) return;
  markBetween(list);
  list.addEventListener("change", () => markBetween(list));
}

/* ---------- suggested names ---------- */

/** Puts a name into the first empty box of a field, making one if there is none. */
export function putName(form, field, name) {
  const boxes = [...form.querySelectorAll('input[name="' + field + '"]')];
  if (boxes.length === 0 || boxes.some((box) => box.value.trim() === name)) return;
  let box = boxes.find((each) => each.value.trim() === "");
  if (!box) {
    const last = boxes[boxes.length - 1];
    box = last.cloneNode();
    last.after(box);
  }
  box.value = name;
  box.dispatchEvent(new Event("input", { bubbles: true }));
  box.dispatchEvent(new Event("change", { bubbles: true }));
}

function takeName(event) {
  const button = event.target.closest("[data-take-name]");
  if (!button) return;
  putName(button.closest("form"), button.dataset.into, button.dataset.takeName);
  button.closest("li").remove();
}

/* ---------- a box more, when the last one is used ---------- */

function oneMoreBox(event) {
  const group = event.target.closest("[data-names]");
  if (!group) return;
  const boxes = [...group.querySelectorAll("input")];
  if (boxes.some((box) => box.value.trim() === "") || boxes.length >= 60) return;
  const box = boxes[boxes.length - 1].cloneNode();
  box.value = "";
  box.setAttribute("aria-label", boxes[0].getAttribute("aria-label").replace("1", String(boxes.length + 1)));
  group.append(box);
}

/* ---------- how far a sound is ---------- */

async function follow(place) {
  let answer;
  try {
    const response = await fetch(place.dataset.soundState, { headers: { Accept: "application/json" } });
    if (!response.ok) return;
    answer = await response.json();
  } catch {
    setTimeout(() => follow(place), 4 * ASK_EVERY_MS);
    return;
  }
  place.querySelector("[data-words]").textContent = answer.words;
  if (answer.state === "ready") {
    place.classList.replace("state-open", "state-done");
    if (place.hasAttribute("data-reload")) document.dispatchEvent(new CustomEvent("undersky:sound-ready"));
  } else if (answer.state !== "failed") {
    setTimeout(() => follow(place), ASK_EVERY_MS);
  }
}

if (typeof document !== "undefined") {
  document.querySelectorAll("[data-lines]").forEach(startTicking);
  document.querySelectorAll("[data-sound-state]").forEach(follow);
  document.addEventListener("click", hear);
  document.addEventListener("click", takeName);
  document.addEventListener("input", oneMoreBox);
}
