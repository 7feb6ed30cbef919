// A tap on a star of the chart asks what is told of it. Without this file the box under the chart does the same.

const picture = document.getElementById("sky-picture");
const form = document.getElementById("sky-form");
let down = null;

if (picture && form) {
  picture.addEventListener("pointerdown", (event) => (down = [event.clientX, event.clientY]));
  picture.addEventListener("click", tapped);
}

function tapped(event) {
  const svg = event.target.closest(".sky-frame svg");
  const moved = down ? Math.hypot(event.clientX - down[0], event.clientY - down[1]) : 0;
  if (!svg || moved > 6 || event.target.closest("a")) return;
  const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const asked = new URLSearchParams(new FormData(form));
  asked.set("x", spot.x.toFixed(1));
  asked.set("y", spot.y.toFixed(1));
  location.assign(`${picture.dataset.tapped}?${asked}`);
}
