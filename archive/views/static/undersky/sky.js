// The sky page comes alive: sliders and keys draw the chart anew, two fingers bring it closer.
// Without this file the form works by its button.

const form = document.getElementById("sky-form");
const said = document.getElementById("sky-said");
const STEPS = { ArrowLeft: [-0.25, -100], ArrowRight: [0.25, 100], ArrowDown: [-1, -1000], ArrowUp: [1, 1000] };
const WHOLE = { x: 0, y: 0, size: 1000 };
let view = { ...WHOLE };
let timer = 0;
let asking = null;

if (form) start();

function start() {
  form.querySelector(".sky-keys").hidden = false;
  for (const slider of form.querySelectorAll(".sky-slider")) addValue(slider);
  form.elements.year_exactly.addEventListener("input", takeExactYear);
  form.addEventListener("input", () => later(250));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    draw(true);
  });
  dress();
}

// --- sliders ---

function addValue(slider) {
  const shown = document.createElement("output");
  shown.className = "sky-value";
  shown.htmlFor = slider.id;
  slider.after(shown);
  slider.addEventListener("input", () => {
    if (slider.name === "year") form.elements.year_exactly.value = "";
    tell(slider);
  });
  tell(slider);
}

function tell(slider) {
  const words = slider.name === "year" ? yearWords(Number(slider.value)) : clock(Number(slider.value));
  slider.parentElement.querySelector(".sky-value").textContent = words;
  slider.setAttribute("aria-valuetext", words);
}

function yearWords(year) {
  return year > 0 ? form.dataset.ce.replace("%s", year) : form.dataset.bce.replace("%s", 1 - year);
}

function clock(hours) {
  const minutes = Math.round(hours * 60);
  return `${String(Math.floor(minutes / 60)).padStart(2, "0")}:${String(minutes % 60).padStart(2, "0")}`;
}

function takeExactYear() {
  const typed = form.elements.year_exactly.value;
  if (!/^-?\d+$/.test(typed)) return;
  form.elements.year.value = typed;
  tell(form.elements.year);
}

function move(name, by) {
  const slider = form.elements[name];
  if (name === "year") form.elements.year_exactly.value = "";
  const low = Number(slider.min);
  const high = Number(slider.max);
  let value = Number(slider.value) + by;
  if (name === "hour") value = (value + 24) % 24;
  slider.value = Math.min(high, Math.max(low, value));
  tell(slider);
  later(120);
}

// --- the chart, fetched ---

function later(wait) {
  clearTimeout(timer);
  timer = setTimeout(() => draw(false), wait);
}

async function draw(isAsked) {
  clearTimeout(timer);
  asking?.abort();
  asking = new AbortController();
  const address = `${location.pathname}?${new URLSearchParams(new FormData(form))}`;
  const picture = document.getElementById("sky-picture");
  picture.classList.add("sky-busy");
  try {
    const answer = await fetch(address, { signal: asking.signal });
    if (!answer.ok) throw new Error(String(answer.status));
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (page.querySelector("#sky-form .errors, #sky-form .errorlist")) {
      if (isAsked) location.assign(address);
      return;
    }
    take(page, address);
  } catch (error) {
    if (error.name !== "AbortError") said.textContent = form.dataset.failed;
  } finally {
    picture.classList.remove("sky-busy");
  }
}

function take(page, address) {
  const hadFocus = document.activeElement?.classList.contains("sky-frame");
  for (const id of ["sky-picture", "sky-told"]) {
    document.getElementById(id).replaceChildren(...document.adoptNode(page.getElementById(id)).childNodes);
  }
  history.replaceState(null, "", address);
  dress();
  if (hadFocus) document.querySelector(".sky-frame")?.focus();
  said.textContent = form.dataset.shown;
}

// --- closer and wider ---

function dress() {
  const frame = document.querySelector("#sky-picture .sky-frame");
  if (!frame) return;
  frame.tabIndex = 0;
  frame.setAttribute("role", "group");
  frame.setAttribute("aria-label", form.dataset.chart);
  frame.addEventListener("keydown", pressed);
  frame.addEventListener("wheel", wheel, { passive: false });
  followFingers(frame);
  const row = document.createElement("p");
  row.className = "row no-print sky-zoom";
  for (const [words, act] of [
    ["closer", () => zoom(1 / 1.4)],
    ["wider", () => zoom(1.4)],
    ["whole", () => look({ ...WHOLE })],
  ]) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button quiet";
    button.textContent = form.dataset[words];
    button.addEventListener("click", act);
    row.append(button);
  }
  frame.after(row);
  look(view);
}

function pressed(event) {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const step = STEPS[event.key];
  if (step) move(event.shiftKey ? "year" : "hour", step[event.shiftKey ? 1 : 0]);
  else if (event.key === "+" || event.key === "=") zoom(1 / 1.4);
  else if (event.key === "-") zoom(1.4);
  else if (event.key === "0") look({ ...WHOLE });
  else return;
  event.preventDefault();
}

function look(to) {
  const size = Math.min(1000, Math.max(120, to.size));
  const inside = (edge) => Math.min(1000 - size, Math.max(0, edge));
  view = { x: inside(to.x), y: inside(to.y), size };
  const frame = document.querySelector("#sky-picture .sky-frame");
  frame?.querySelector("svg")?.setAttribute("viewBox", `${view.x} ${view.y} ${size} ${size}`);
  frame?.classList.toggle("closer", size < 1000);
}

// `fx`, `fy`: the point that stays where it is, as shares of the frame.
function zoom(by, fx = 0.5, fy = 0.5) {
  const size = Math.min(1000, Math.max(120, view.size * by));
  look({ x: view.x + fx * (view.size - size), y: view.y + fy * (view.size - size), size });
}

function share(frame, event) {
  const box = frame.getBoundingClientRect();
  return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
}

function wheel(event) {
  if (!event.ctrlKey) return;
  event.preventDefault();
  zoom(Math.exp(event.deltaY / 200), ...share(event.currentTarget, event));
}

function followFingers(frame) {
  const fingers = new Map();
  frame.addEventListener("pointerdown", (event) => fingers.set(event.pointerId, share(frame, event)));
  frame.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    const now = share(frame, event);
    const other = [...fingers].find(([id]) => id !== event.pointerId)?.[1];
    fingers.set(event.pointerId, now);
    if (other) pinch(before, now, other);
    else if (view.size < 1000) drag(before, now);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
    frame.addEventListener(end, (event) => fingers.delete(event.pointerId));
  }
}

function pinch(before, now, other) {
  const apart = (one) => Math.max(0.02, Math.hypot(one[0] - other[0], one[1] - other[1]));
  zoom(apart(before) / apart(now), (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
}

function drag(before, now) {
  look({ ...view, x: view.x + (before[0] - now[0]) * view.size, y: view.y + (before[1] - now[1]) * view.size });
}
