/* The desk's pages with script: lines are heard where they stand, and picking two of them marks what lies between. */

function player() {
  return document.querySelector("[data-player]");
}

function hear(event) {
  const link = event.target.closest("[data-hear]");
  if (!link || !player() || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  const line = link.closest("li");
  player().dispatchEvent(new CustomEvent("undersky:go", {
    detail: { start_ms: Number(line.dataset.startMs), end_ms: null } }));
}

function markBetween(list) {
  const lines = [...list.querySelectorAll(":scope > li")];
  const ticked = lines.filter((line) => line.querySelector("input").checked);
  const first = lines.indexOf(ticked[0]);
  const last = lines.indexOf(ticked[ticked.length - 1]);
  lines.forEach((line, at) => line.classList.toggle("chosen", ticked.length > 0 && first <= at && at <= last));
}

document.querySelectorAll("[data-lines]").forEach((list) => {
  markBetween(list);
  list.addEventListener("change", () => markBetween(list));
});
document.addEventListener("click", hear);
