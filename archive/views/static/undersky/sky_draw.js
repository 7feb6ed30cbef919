/* Drawing a figure on a chart. The two text boxes of the form, lines and single stars, are the truth: every act writes
   them, and what is written by hand is drawn. Places are degrees, ICRS; the chart is 1000 units to a side, azimuthal
   equidistant about its middle, north up, east to the left. Without this file the form works by its text. */

const SIDE = 1000;
const DEGREE = Math.PI / 180;
const NEAREST_PX = 26;
const LIMITS = [[90, 4.3], [50, 5.2], [25, 6.0], [0, 9.9]]; // degrees across, faintest magnitude drawn
const GREEK = "alpha α beta β gamma γ delta δ epsilon ε zeta ζ eta η theta θ iota ι kappa κ lambda λ mu μ nu ν xi ξ "
  + "omicron ο pi π rho ρ sigma σ tau τ upsilon υ phi φ chi χ psi ψ omega ω";

const board = document.getElementById("draw");
const form = document.getElementById("draw-form");
const words = board?.dataset;
const stars = new Map(); // hip -> {hip, ra, dec, mag, name, designation}
const byKey = new Map(); // a name's key -> [hip, ...]
const greek = new Map(GREEK.split(" ").reduce((pairs, one, at, all) => (at % 2 ? pairs : [...pairs, [one, all[at + 1]]]), []));
const view = { ra: 0, dec: 0, across: 60 };
let pen = null;
let done = [];
let undone = [];

if (board) start();

async function start() {
  view.ra = Number(words.ra);
  view.dec = Number(words.dec);
  board.hidden = false;
  try {
    const answer = await fetch(words.stars);
    if (!answer.ok) throw new Error(String(answer.status));
    take(await answer.json());
  } catch {
    say(words.failed);
    return;
  }
  frame().setAttribute("aria-label", words.chart);
  board.addEventListener("click", (event) => acts[event.target.closest("[data-do]")?.dataset.do]?.());
  form.addEventListener("keydown", shortcut);
  for (const box of [linesBox(), starsBox()]) box.addEventListener("input", draw);
  form.querySelector('[name="look"]').addEventListener("click", look);
  form.elements.star.addEventListener("keydown", (event) => { if (event.key === "Enter") look(event); });
  followFingers(frame());
  frame().addEventListener("keydown", keyed);
  frame().addEventListener("wheel", wheel, { passive: false });
  fit();
  draw();
}

function take(given) {
  for (const [hip, ra, dec, mag] of given.stars) {
    const [name = "", designation = "", ...others] = given.names[hip] ?? [];
    stars.set(hip, { hip, ra: ra / 100, dec: dec / 100, mag: mag / 10, name, designation });
    for (const text of [name, designation, ...others].filter(Boolean)) {
      byKey.set(key(text), [...(byKey.get(key(text)) ?? []), hip]);
    }
  }
}

const linesBox = () => form.elements.lines;
const starsBox = () => form.elements.stars;
const frame = () => board.querySelector(".draw-frame");
const picture = () => frame().querySelector("svg");

function say(text) {
  board.querySelector(".draw-said").textContent = text;
}

function fill(text, ...parts) {
  return parts.reduce((made, part) => made.replace("%s", () => part), text);
}

function called(hip) {
  const star = stars.get(hip);
  return star?.name || star?.designation || `HIP ${hip}`;
}

/* ---------- text and what it stands for ---------- */

function key(text) {
  const plain = text.toLowerCase().normalize("NFKD").replace(/\p{M}/gu, "");
  return (plain.match(/\p{L}+|\d+/gu) ?? []).map((part) => greek.get(part) ?? part).join("");
}

function findOne(text) {
  const number = /^(?:hip\s*)?(\d+)$/i.exec(text.trim());
  if (number) return stars.has(Number(number[1])) ? Number(number[1]) : null;
  const found = byKey.get(key(text)) ?? [];
  return found.length === 1 ? found[0] : null;
}

/** The stars of a written line, or null where one is not understood. */
function readRun(line) {
  const isNumbers = /^(?:(?:hip\s*)?\d+[\s,;]*)+$/i.test(line.trim());
  const parts = isNumbers ? line.match(/\d+/g) : line.split(/\s*(?:[,;>→]|\s[-–—]+\s|[–—])\s*/).filter((one) => one.trim());
  const found = parts.map(findOne);
  return found.includes(null) ? null : found;
}

function read(box) {
  return box.value.split("\n").map((text, at) => ({ at, text, run: text.trim() ? readRun(text) : [] }));
}

function runs() {
  return read(linesBox()).filter((line) => line.run?.length > 1);
}

function singles() {
  return read(starsBox()).flatMap((line) => line.run ?? []);
}

function isJoined(a, b) {
  return runs().some(({ run }) => run.some((hip, at) => at && ((run[at - 1] === a && hip === b) || (run[at - 1] === b && hip === a))));
}

function write(lines, lone, nextPen) {
  done.push({ lines: linesBox().value, stars: starsBox().value, pen });
  undone = [];
  put({ lines, stars: lone, pen: nextPen });
}

function put(state) {
  linesBox().value = state.lines.replace(/\n+$/, "");
  starsBox().value = state.stars.trim();
  pen = state.pen;
  draw();
}

/* ---------- what can be done ---------- */

function tap(hip) {
  if (pen === null) {
    pen = hip;
    say(fill(words.taken, called(hip)));
    draw();
  } else if (pen === hip) {
    acts.lift();
  } else if (isJoined(pen, hip)) {
    say(fill(words.already, called(pen), called(hip)));
    pen = hip;
    draw();
  } else {
    join(pen, hip);
  }
}

function join(from, to) {
  const lines = linesBox().value.split("\n").filter((line) => line.trim());
  const last = lines.length ? readRun(lines[lines.length - 1]) : null;
  if (last?.length && last[last.length - 1] === from) lines[lines.length - 1] += lines[lines.length - 1].includes(",") ? `, ${to}` : ` ${to}`;
  else lines.push(`${from} ${to}`);
  const lone = singles().filter((hip) => hip !== from && hip !== to);
  const box = lone.length === singles().length ? starsBox().value : lone.join(" ");
  write(lines.join("\n"), box, to);
  say(fill(words.joined, called(from), called(to)));
}

/** Takes away the stroke that ends at place `at` of a run; what is left on both sides stays. */
function cut(line, at) {
  const { run } = runs().find((one) => one.at === line);
  const name = fill(words.between, called(run[at - 1]), called(run[at]));
  const left = [run.slice(0, at), run.slice(at)].filter((part) => part.length > 1).map((part) => part.join(" "));
  const lines = linesBox().value.split("\n");
  lines.splice(line, 1, ...left);
  write(lines.join("\n"), starsBox().value, null);
  say(fill(words.gone, name));
}

function drop(hip) {
  write(linesBox().value, singles().filter((one) => one !== hip).join(" "), null);
  say(fill(words.gone, called(hip)));
}

const acts = {
  undo: () => swap(done, undone, words.undone),
  redo: () => swap(undone, done, words.redone),
  lift: () => {
    pen = null;
    say(words.lifted);
    draw();
  },
  single: () => {
    if (pen === null) return;
    const hip = pen;
    const isThere = singles().includes(hip) || runs().some(({ run }) => run.includes(hip));
    write(linesBox().value, isThere ? starsBox().value : `${starsBox().value} ${hip}`, null);
    say(fill(words.single, called(hip)));
  },
  closer: () => zoom(1 / 1.5),
  wider: () => zoom(1.5),
};

function swap(from, to, told) {
  const state = from.pop();
  if (!state) {
    say(words.nothingUndo);
    return;
  }
  to.push({ lines: linesBox().value, stars: starsBox().value, pen });
  put(state);
  say(told);
}

function shortcut(event) {
  if (!(event.ctrlKey || event.metaKey) || /^(INPUT|TEXTAREA)$/.test(event.target.tagName)) return;
  const act = { z: event.shiftKey ? "redo" : "undo", y: "redo" }[event.key.toLowerCase()];
  if (!act) return;
  event.preventDefault();
  acts[act]();
}

/* ---------- finding ---------- */

function look(event) {
  event.preventDefault();
  const text = form.elements.star.value.trim();
  const list = board.parentElement.querySelector(".draw-found");
  const one = findOne(text);
  const wanted = key(text);
  const near = one !== null ? [one] : wanted ? [...new Set([...byKey].filter(([name]) => name.includes(wanted)).flatMap(([, hips]) => hips))] : [];
  const found = near.map((hip) => stars.get(hip)).sort((a, b) => a.mag - b.mag).slice(0, 12);
  list.hidden = !found.length;
  list.replaceChildren(...found.map((star) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button quiet";
    button.textContent = `${fill(words.take, called(star.hip))} (${[star.designation, `HIP ${star.hip}`].filter(Boolean).join(", ")}; ${star.mag.toFixed(1)})`;
    button.addEventListener("click", () => {
      turnTo(star);
      tap(star.hip);
    });
    const item = document.createElement("li");
    item.append(button);
    return item;
  }));
  if (found.length) turnTo(found[0]);
  say(found.length ? fill(words.found, String(found.length)) : words.notFound);
}

function turnTo(star) {
  view.ra = star.ra;
  view.dec = star.dec;
  if (star.mag > faintest()) view.across = 20;
  draw();
}

/* ---------- the chart ---------- */

function faintest() {
  return LIMITS.find(([across]) => view.across > across)[1];
}

/** Page place of a star, or null on the far side. */
function place(star) {
  const turn = (star.ra - view.ra) * DEGREE;
  const [d, d0] = [star.dec * DEGREE, view.dec * DEGREE];
  const cosine = Math.sin(d0) * Math.sin(d) + Math.cos(d0) * Math.cos(d) * Math.cos(turn);
  if (cosine < -0.95) return null;
  const away = Math.acos(Math.min(1, Math.max(-1, cosine)));
  const scale = (away < 1e-9 ? 1 : away / Math.sin(away)) * (SIDE / (view.across * DEGREE));
  const east = Math.cos(d) * Math.sin(turn);
  const north = Math.cos(d0) * Math.sin(d) - Math.sin(d0) * Math.cos(d) * Math.cos(turn);
  return { x: SIDE / 2 - east * scale, y: SIDE / 2 - north * scale };
}

function isOnPage(at, margin = 0) {
  return at && at.x > -margin && at.y > -margin && at.x < SIDE + margin && at.y < SIDE + margin;
}

/** What lies at a page place, the other way round. */
function direction(x, y) {
  const [side, up] = [(SIDE / 2 - x) / SIDE * view.across * DEGREE, (SIDE / 2 - y) / SIDE * view.across * DEGREE];
  const away = Math.hypot(side, up);
  if (away < 1e-9) return { ra: view.ra, dec: view.dec };
  const d0 = view.dec * DEGREE;
  const [sin, cos] = [Math.sin(away), Math.cos(away)];
  const dec = Math.asin(Math.min(1, Math.max(-1, cos * Math.sin(d0) + (up * sin * Math.cos(d0)) / away)));
  const turn = Math.atan2(side * sin, away * Math.cos(d0) * cos - up * Math.sin(d0) * sin);
  return { ra: (view.ra + turn / DEGREE + 360) % 360, dec: dec / DEGREE };
}

function shown() {
  const own = new Set([...runs().flatMap(({ run }) => run), ...singles(), ...(pen === null ? [] : [pen])]);
  const found = [];
  for (const star of stars.values()) {
    if (star.mag > faintest() && !own.has(star.hip)) continue;
    const at = place(star);
    if (isOnPage(at)) found.push({ star, at, isOwn: own.has(star.hip) });
  }
  return found;
}

function svg(name, attributes, text = "") {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [attribute, value] of Object.entries(attributes)) made.setAttribute(attribute, value);
  if (text) made.textContent = text;
  return made;
}

function dot(star) {
  return Math.max(1.5, 9 - 1.35 * star.mag);
}

/** By star: names of the figure's own stars, then of bright ones, the brightest first, where none stands yet. */
function names(unit) {
  const size = Math.max(20, 13 * unit);
  const taken = [];
  const wanted = shown().filter(({ star, isOwn }) => isOwn || (star.name && star.mag < faintest() - 2.2));
  wanted.sort((one, other) => other.isOwn - one.isOwn || one.star.mag - other.star.mag);
  for (const { star, at } of wanted) {
    const text = called(star.hip);
    const box = { x: at.x + dot(star) + 8, y: at.y + 4 * unit, width: text.length * size * 0.55 };
    const isFree = taken.every((one) => Math.abs(one.y - box.y) > size || one.x > box.x + box.width || box.x > one.x + one.width);
    if (isFree) taken.push({ ...box, hip: star.hip, text });
  }
  return new Map(taken.map(({ x, y, hip, text }) => [hip, svg("text", { class: "chart-label", x, y, "font-size": size }, text)]));
}

function draw() {
  const unit = SIDE / (picture().clientWidth || SIDE); // page units to a pixel: names stay readable on a phone
  const parts = [svg("rect", { class: "chart-sky", width: SIDE, height: SIDE })];
  for (const { run } of runs()) {
    const spots = run.map((hip) => place(stars.get(hip)));
    for (let at = 1; at < run.length; at += 1) {
      const [a, b] = [spots[at - 1], spots[at]];
      if (a && b) parts.push(svg("line", { class: "chart-figure", x1: a.x, y1: a.y, x2: b.x, y2: b.y, "stroke-width": 4 }));
    }
  }
  const named = names(unit);
  for (const { star, at, isOwn } of shown()) {
    const radius = dot(star);
    parts.push(svg("circle", { class: "star-white", cx: at.x, cy: at.y, r: radius }));
    if (isOwn) parts.push(svg("circle", { class: star.hip === pen ? "draw-pen" : "draw-own", cx: at.x, cy: at.y, r: radius + 9 }));
    if (named.has(star.hip)) parts.push(named.get(star.hip));
  }
  parts.push(svg("path", { class: "draw-middle", d: "M480 500H495M505 500H520M500 480V495M500 505V520" }));
  picture().replaceChildren(...parts);
  list();
}

function list() {
  const items = [
    ...runs().flatMap(({ at, run }) => run.slice(1).map((hip, index) => [fill(words.between, called(run[index]), called(hip)), () => cut(at, index + 1)])),
    ...singles().map((hip) => [called(hip), () => drop(hip)]),
  ].map(([text, act]) => {
    const item = document.createElement("li");
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button quiet";
    button.textContent = fill(words.remove, text);
    button.addEventListener("click", act);
    item.append(button);
    return item;
  });
  const unread = [...read(linesBox()), ...read(starsBox())].filter((line) => line.run === null);
  for (const line of unread) {
    const item = document.createElement("li");
    item.textContent = fill(words.unread, `${line.at + 1} (${line.text.trim()})`);
    items.push(item);
  }
  if (!items.length) {
    const item = document.createElement("li");
    item.textContent = words.nothingYet;
    items.push(item);
  }
  board.querySelector(".draw-list").replaceChildren(...items);
}

/** Opens wide enough for what is drawn already. */
function fit() {
  const own = [...runs().flatMap(({ run }) => run), ...singles()].map((hip) => place(stars.get(hip))).filter(Boolean);
  const reach = Math.max(0, ...own.map((at) => Math.hypot(at.x - SIDE / 2, at.y - SIDE / 2)));
  if (own.length) view.across = Math.min(160, Math.max(20, (reach / (SIDE / 2)) * view.across * 1.25));
}

/* ---------- fingers, wheel and keys ---------- */

function zoom(by) {
  view.across = Math.min(160, Math.max(6, view.across * by));
  draw();
}

function spot(event) {
  const box = picture().getBoundingClientRect();
  return { x: ((event.clientX - box.left) / box.width) * SIDE, y: ((event.clientY - box.top) / box.height) * SIDE, unit: SIDE / box.width };
}

/** Turns the sky so that what lay under one page place lies under another. */
function drag(from, to) {
  const target = direction(SIDE / 2 + from.x - to.x, SIDE / 2 + from.y - to.y);
  view.ra = target.ra;
  view.dec = Math.min(90, Math.max(-90, target.dec));
  draw();
}

function nearest(at, within) {
  let best = null;
  for (const one of shown()) {
    const away = Math.hypot(one.at.x - at.x, one.at.y - at.y) + Math.max(0, one.star.mag) * 2;
    if (away < within && (!best || away < best.away)) best = { away, hip: one.star.hip };
  }
  return best?.hip ?? null;
}

function followFingers(area) {
  const fingers = new Map();
  let moved = 0;
  area.addEventListener("pointerdown", (event) => {
    if (!fingers.size) moved = 0;
    fingers.set(event.pointerId, spot(event));
    area.setPointerCapture(event.pointerId);
  });
  area.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    const now = spot(event);
    const other = [...fingers].find(([id]) => id !== event.pointerId)?.[1];
    moved += Math.hypot(now.x - before.x, now.y - before.y) / now.unit;
    fingers.set(event.pointerId, now);
    if (other) zoom(Math.max(20, apart(before, other)) / Math.max(20, apart(now, other)));
    else if (moved > 8) drag(before, now);
  });
  area.addEventListener("pointerup", (event) => {
    const at = fingers.get(event.pointerId);
    fingers.delete(event.pointerId);
    if (!at || moved > 8 || fingers.size) return;
    const hip = nearest(at, NEAREST_PX * at.unit);
    if (hip === null) say(words.noneThere);
    else tap(hip);
  });
  area.addEventListener("pointercancel", (event) => fingers.delete(event.pointerId));
}

function apart(a, b) {
  return Math.hypot(a.x - b.x, a.y - b.y);
}

function wheel(event) {
  if (!event.ctrlKey) return;
  event.preventDefault();
  zoom(Math.exp(event.deltaY / 200));
}

function keyed(event) {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const step = SIDE / 20;
  const moves = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
  const middle = { x: SIDE / 2, y: SIDE / 2 };
  if (moves[event.key]) {
    const [x, y] = moves[event.key];
    drag(middle, { x: middle.x + x, y: middle.y + y });
    const hip = nearest(middle, 60);
    if (hip !== null) say(fill(words.middle, called(hip)));
  } else if (event.key === "Enter" || event.key === " ") {
    const hip = nearest(middle, 90);
    if (hip === null) say(words.noneThere);
    else tap(hip);
  } else if (event.key === "+" || event.key === "=") zoom(1 / 1.5);
  else if (event.key === "-") zoom(1.5);
  else if (event.key === "Escape") acts.lift();
  else return;
  event.preventDefault();
}
