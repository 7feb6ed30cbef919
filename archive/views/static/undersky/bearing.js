/* The dial: press or drag on it to look that way; letting go asks the page anew. The field does the same without it. */

const dial = document.getElementById("dial");
const line = document.getElementById("dial-line");
const form = document.getElementById("bearing-form");
const field = form.elements.namedItem("azimuth");
const MIDDLE = 320;

function azimuthAt(event) {
  const box = dial.getBoundingClientRect();
  const right = event.clientX - box.left - box.width / 2;
  const down = event.clientY - box.top - box.height / 2;
  return (Math.atan2(right, -down) * 180 / Math.PI + 360) % 360;
}

function show(azimuth) {
  const turn = azimuth * Math.PI / 180;
  const radius = Math.hypot(line.x2.baseVal.value - MIDDLE, line.y2.baseVal.value - MIDDLE);
  line.setAttribute("x2", MIDDLE + radius * Math.sin(turn));
  line.setAttribute("y2", MIDDLE - radius * Math.cos(turn));
  field.value = azimuth.toFixed(1);
}

dial.addEventListener("pointerdown", (event) => {
  if (event.button !== 0 || event.target.closest("a")) return;
  dial.setPointerCapture(event.pointerId);
  show(azimuthAt(event));
});
dial.addEventListener("pointermove", (event) => {
  if (dial.hasPointerCapture(event.pointerId)) show(azimuthAt(event));
});
dial.addEventListener("pointerup", (event) => {
  if (!dial.hasPointerCapture(event.pointerId)) return;
  for (const name of ["to", "to_latitude", "to_longitude"]) form.elements.namedItem(name).value = "";
  form.requestSubmit();
});
