/* Cutting by ear: marks stretches over the waveform, keeps them as a draft on the server, and fills the form below.

   The form stays what saves a segment: it holds the stretch that is worked on, and is sent as on a page without
   script. Everything else here is a draft, seen by nobody else. Times are milliseconds from the recording's start. */

import { clockText } from "./player.js";
import { Keys } from "./desk_keys.js";
import { readTime, sayBeside, typedMs } from "./desk_times.js";
import { Wave } from "./desk_wave.js";

const NAMES = ["speakers", "topics", "places", "figures", "told_of", "had_from"];
const TEXTS = ["title", "summary"];
const KEEP_AFTER_MS = 1000;
const RETRY_MS = 5000;
const MOST_UNDONE = 200;
const NUDGE_MS = 100;
const BACK_MS = 2000;
const LISTED = ["play", "back", "hold", "mark_start", "mark_end", "play_piece", "nudge_minus", "nudge_plus",
  "other_edge", "split", "join", "undo", "redo"];

/* ---------- plain functions ---------- */

/** Two stretches from one, cut at time_ms; the second keeps who and what, not the title. */
export function splitPiece(piece, time_ms, id) {
  const first = { ...piece, end_ms: time_ms };
  const second = { ...structuredClone(piece), id, start_ms: time_ms, title: "", summary: "" };
  return [first, second];
}

/** One stretch from two: from the earlier start to the later end, with what is said about either. */
export function joinPieces(first, second) {
  const end = [first.end_ms, second.end_ms].includes(null) ? null : Math.max(first.end_ms, second.end_ms);
  const made = { ...first, start_ms: Math.min(first.start_ms, second.start_ms), end_ms: end };
  TEXTS.forEach((name) => { made[name] = [first[name], second[name]].filter(Boolean).join(name === "title" ? " / " : "\n"); });
  NAMES.forEach((name) => { made[name] = [...new Set([...(first[name] || []), ...(second[name] || [])])]; });
  return made;
}

/** Stretches between moments, over what is not covered by standing ones: [{start_ms, end_ms}]. */
export function between(moments, length_ms) {
  const edges = [0, ...[...new Set(moments)].sort((a, b) => a - b).filter((ms) => ms > 0 && ms < length_ms), length_ms];
  return edges.slice(0, -1).map((start_ms, at) => ({ start_ms, end_ms: edges[at + 1] }));
}

function newId() {
  return crypto.getRandomValues(new Uint32Array(2)).reduce((text, part) => text + part.toString(36), "");
}

/* ---------- the bench ---------- */

class Bench {
  constructor(section) {
    this.section = section;
    this.data = section.dataset;
    this.isOne = section.hasAttribute("data-one");
    this.length_ms = Number(this.data.lengthMs);
    this.form = document.querySelector("[data-segment-form]");
    this.boxes = Object.fromEntries(["start", "end", ...TEXTS].map((name) => [name, this.form.elements[name]]));
    this.words = Object.fromEntries([...section.querySelectorAll("[data-word]")].map((one) => [
      one.dataset.word, one.textContent]));
    this.state = { pieces: [], chosen: null };
    this.refused = [];
    this.cuts = [];
    this.edge = "start";
    this.done = [];
    this.undone = [];
    this.version = 0;
    this.now_ms = 0;
    section.hidden = false;
    this.wave = new Wave(section.querySelector("[data-wave]"), this.length_ms, (name, detail) => this.onWave(name, detail));
    this.keys = new Keys((action, isDown) => this.act(action, isDown));
    this.listen();
    this.showKeys();
    this.begin();
  }

  find(name) {
    return this.section.querySelector("[data-" + name + "]");
  }

  say(words, place = "say") {
    const found = this.find(place);
    if (found) found.textContent = words;
  }

  get player() {
    return document.querySelector("[data-player]");
  }

  get piece() {
    return this.state.pieces.find((one) => one.id === this.state.chosen) || null;
  }

  /* -- beginning -- */

  async begin() {
    const stretch = (item) => ({ start_ms: Number(item.dataset.startMs), end_ms: Number(item.dataset.endMs) });
    const all = (name) => [...document.querySelectorAll("[data-" + name + "] > li")].map(stretch);
    this.wave.mark({ standing: all("standing"), closed: all("closed") });
    this.loadWave();
    if (this.isOne) {
      this.state = { pieces: [this.fromForm({ id: "one" })], chosen: "one" };
    } else {
      await this.loadDraft();
    }
    this.show();
    if (this.piece) this.wave.look(this.piece.start_ms - 2000);
  }

  async loadWave() {
    const response = await fetch(this.data.waveUrl).catch(() => null);
    if (response && response.ok) {
      this.say("", "wave-say");
      this.wave.take(await response.arrayBuffer());
      if (!this.player) location.reload();
      return;
    }
    const answer = response ? await response.json().catch(() => ({})) : {};
    this.say(answer.words || this.words.wave_wait, "wave-say");
    if (answer.state !== "failed") setTimeout(() => this.loadWave(), 2000);
  }

  async loadDraft() {
    const response = await fetch(this.data.draftUrl).catch(() => null);
    const kept = response && response.ok ? await response.json() : { version: 0, content: {} };
    this.version = kept.version;
    this.refused = kept.content.refused || [];
    const pieces = (kept.content.pieces || []).filter((one) => one && one.id);
    this.state = { pieces, chosen: kept.content.chosen || null };
    const sent = this.form.querySelector("[data-piece]").value;
    if (this.section.hasAttribute("data-has-errors")) {
      const id = sent || newId();
      const typed = this.fromForm(pieces.find((one) => one.id === id) || { id });
      this.state.pieces = [...pieces.filter((one) => one.id !== id), typed];
      this.state.chosen = id;
    } else if (pieces.length > 0) {
      if (!this.piece) this.state.chosen = pieces[0].id;
      this.intoForm();
      this.say(this.words.draft_back, "draft-say");
    }
  }

  listen() {
    this.section.addEventListener("click", (event) => this.onClick(event));
    this.section.addEventListener("change", (event) => this.onChange(event));
    this.form.addEventListener("input", (event) => this.onTyped(event.target));
    this.form.addEventListener("change", (event) => this.onFormChange(event));
    this.form.addEventListener("submit", (event) => this.onSubmit(event));
    document.addEventListener("undersky:time", (event) => this.onTime(event.detail), true);
    document.addEventListener("undersky:sound-ready", () => this.loadWave());
    window.addEventListener("pagehide", () => this.keepNow(true));
    document.addEventListener("visibilitychange", () => { if (document.hidden) this.keepNow(true); });
  }

  onTime({ now_ms, playing }) {
    this.now_ms = Math.round(now_ms);
    this.isPlaying = playing;
    if (playing) this.wave.reach(now_ms);
    this.wave.mark({ now_ms });
  }

  /* -- the form and the stretch that is worked on -- */

  fromForm(piece) {
    const made = { ...piece };
    made.start_ms = typedMs(this.boxes.start.value) ?? piece.start_ms ?? null;
    made.end_ms = typedMs(this.boxes.end.value) ?? (this.boxes.end.value.trim() ? piece.end_ms ?? null : null);
    TEXTS.forEach((name) => { made[name] = this.boxes[name].value; });
    NAMES.forEach((name) => {
      made[name] = [...this.form.querySelectorAll('input[name="' + name + '"]')].map((box) => box.value.trim())
        .filter(Boolean);
    });
    return made;
  }

  intoForm() {
    const piece = this.piece;
    const hidden = this.form.querySelector("[data-piece]");
    if (hidden) hidden.value = piece ? piece.id : "";
    this.timesIntoForm();
    TEXTS.forEach((name) => { this.boxes[name].value = piece ? piece[name] || "" : ""; });
    NAMES.forEach((name) => this.namesIntoForm(name, piece ? piece[name] || [] : []));
    this.form.querySelectorAll('input[name="cue"]:checked').forEach((box) => { box.checked = false; });
    this.form.querySelector("[data-lines]")?.dispatchEvent(new Event("change"));
  }

  timesIntoForm() {
    const piece = this.piece;
    ["start", "end"].forEach((edge) => {
      const time_ms = piece ? piece[edge + "_ms"] : null;
      this.boxes[edge].value = time_ms === null || time_ms === undefined ? "" : clockText(time_ms, true);
    });
  }

  namesIntoForm(name, values) {
    const boxes = [...this.form.querySelectorAll('input[name="' + name + '"]')];
    const wanted = values.length + 1;
    while (boxes.length < wanted) {
      const box = boxes[0].cloneNode();
      boxes[boxes.length - 1].after(box);
      boxes.push(box);
    }
    boxes.forEach((box, at) => { box.value = values[at] || ""; });
    boxes.slice(wanted).forEach((box) => box.remove());
  }

  /** What stands in the form is the stretch's; the first words typed where there is none begin one. */
  onTyped(box) {
    if (box.name === "cue") return;
    const made = this.fromForm(this.piece || { id: newId() });
    if (!this.piece && (this.isOne || (made.start_ms === null && made.end_ms === null && !made.title))) return;
    if (this.typing !== box) this.step();
    this.typing = box;
    if (this.piece) this.state.pieces = this.state.pieces.map((one) => (one.id === made.id ? made : one));
    else this.begun(made);
    this.show();
    this.keepSoon();
  }

  /** Works on a new stretch from here on. */
  begun(made) {
    this.state = { pieces: [...this.state.pieces, made], chosen: made.id };
    const hidden = this.form.querySelector("[data-piece]");
    if (hidden) hidden.value = made.id;
  }

  onFormChange(event) {
    const box = event.target;
    this.typing = null;
    if (box.name === "cue") this.takeLines();
    else if (box === this.boxes.start || box === this.boxes.end) this.takeTime(box);
  }

  /** A time in any form that is taken on paper: what this page cannot read by itself, the server reads. */
  async takeTime(box) {
    const text = box.value.trim();
    sayBeside(box, "");
    if (text === "" || typedMs(text) !== null) return;
    const read = await readTime(this.data.timeUrl, text, this.form.elements.rate.value);
    if (box.value.trim() !== text) return;
    sayBeside(box, read.words || "");
    if (read.start_ms === undefined) return;
    this.step();
    this.change(box === this.boxes.start ? this.read(read) : { end_ms: read.end_ms ?? read.start_ms });
  }

  /** Both ends, where what was typed names both. */
  read({ start_ms, end_ms }) {
    return end_ms === null ? { start_ms } : { start_ms, end_ms };
  }

  /** Ticked lines give the stretch, as they do without script. */
  takeLines() {
    const ticked = [...this.form.querySelectorAll('input[name="cue"]:checked')].map((box) => box.value.split("-").map(Number));
    if (ticked.length === 0) return;
    this.step();
    this.change({ start_ms: Math.min(...ticked.map((one) => one[0])), end_ms: Math.max(...ticked.map((one) => one[1])) });
    this.wave.reach(this.piece.start_ms);
  }

  async onSubmit(event) {
    if (this.isOne || !this.isDirty) return;
    event.preventDefault();
    await this.keepNow();
    this.form.submit();
  }

  /* -- changing, undoing -- */

  step() {
    this.done.push(JSON.stringify(this.state));
    if (this.done.length > MOST_UNDONE) this.done.shift();
    this.undone = [];
  }

  /** Changes the stretch that is worked on, beginning one where there is none. */
  change(given) {
    if (!this.piece) {
      this.begun({ ...this.fromForm({ id: newId() }), start_ms: null, end_ms: null });
    }
    const changed = { ...this.piece, ...given };
    this.state.pieces = this.state.pieces.map((one) => (one.id === changed.id ? changed : one));
    this.timesIntoForm();
    this.show();
    this.keepSoon();
  }

  back(from, to) {
    const before = from.pop();
    if (before === undefined) return;
    to.push(JSON.stringify(this.state));
    this.state = JSON.parse(before);
    this.intoForm();
    this.show();
    this.keepSoon();
  }

  within(time_ms) {
    return Math.min(this.length_ms, Math.max(0, Math.round(time_ms)));
  }

  moveEdge(edge, time_ms) {
    const piece = this.piece;
    if (!piece) return;
    let wanted = this.within(time_ms);
    if (edge === "start" && piece.end_ms !== null) wanted = Math.min(wanted, piece.end_ms - 1);
    if (edge === "end" && piece.start_ms !== null) wanted = Math.max(wanted, piece.start_ms + 1);
    this.edge = edge;
    this.change({ [edge + "_ms"]: wanted });
  }

  onWave(name, { ms, edge, isDone }) {
    if (name === "go") {
      this.go(ms, null, this.isPlaying);
      this.now_ms = Math.round(ms);
      this.wave.mark({ now_ms: ms });
      return;
    }
    if (!this.isDragging) this.step();
    this.isDragging = !isDone;
    this.moveEdge(edge, ms);
  }

  /* -- what a person does -- */

  go(start_ms, end_ms = null, play = true) {
    this.player?.dispatchEvent(new CustomEvent("undersky:go", { detail: { start_ms, end_ms, play } }));
  }

  press(name) {
    this.player?.querySelector('[data-do="' + name + '"]')?.click();
  }

  act(action, isDown = true) {
    this.say("");
    const actions = {
      play: () => this.press("toggle"),
      back: () => this.go(Math.max(0, this.now_ms - BACK_MS), null, this.isPlaying),
      hold: () => { if (isDown !== Boolean(this.isPlaying)) this.press("toggle"); },
      mark_start: () => this.markStart(),
      mark_end: () => this.markEnd(),
      play_piece: () => { if (this.piece) this.go(this.piece.start_ms ?? 0, this.piece.end_ms); },
      nudge_minus: () => this.nudge(-NUDGE_MS),
      nudge_plus: () => this.nudge(NUDGE_MS),
      other_edge: () => { this.edge = this.edge === "start" ? "end" : "start"; this.show(); },
      split: () => this.split(),
      join: () => this.join(),
      undo: () => this.back(this.done, this.undone),
      redo: () => this.back(this.undone, this.done),
      closer: () => this.wave.zoom(0.5),
      wider: () => this.wave.zoom(2),
      add: () => this.add(),
      ask_hints: () => this.askHints(),
      lay_out: () => this.layOut(),
      keys_reset: () => { this.keys.reset(); this.showKeys(); },
    };
    actions[action]?.();
  }

  markStart() {
    const now_ms = this.within(this.now_ms);
    this.step();
    const isOver = !this.isOne && this.piece && this.piece.end_ms !== null && now_ms >= this.piece.end_ms;
    if (isOver) this.choose(null);
    this.edge = "start";
    this.change({ start_ms: now_ms });
  }

  markEnd() {
    const now_ms = this.within(this.now_ms);
    if (this.piece && this.piece.start_ms !== null && now_ms <= this.piece.start_ms) {
      this.say(this.words.end_before);
      return;
    }
    this.step();
    this.edge = "end";
    this.change({ end_ms: now_ms });
    this.askHeard();
  }

  nudge(by_ms) {
    const piece = this.piece;
    if (!piece || piece[this.edge + "_ms"] === null) return;
    this.step();
    this.moveEdge(this.edge, piece[this.edge + "_ms"] + by_ms);
  }

  split() {
    const piece = this.piece;
    const now_ms = this.within(this.now_ms);
    if (this.isOne || !piece || piece.start_ms === null || !(piece.start_ms < now_ms && (piece.end_ms === null || now_ms < piece.end_ms))) {
      this.say(this.words.not_inside);
      return;
    }
    this.step();
    const parts = splitPiece(piece, now_ms, newId());
    this.state.pieces = this.state.pieces.flatMap((one) => (one.id === piece.id ? parts : [one]));
    this.choose(parts[1].id);
  }

  join() {
    const piece = this.piece;
    const ordered = this.ordered();
    const next = piece ? ordered[ordered.indexOf(piece) + 1] : undefined;
    if (this.isOne || !next) {
      this.say(this.words.nothing_next);
      return;
    }
    this.step();
    const joined = joinPieces(piece, next);
    this.state.pieces = this.state.pieces.filter((one) => one.id !== next.id)
      .map((one) => (one.id === piece.id ? joined : one));
    this.choose(piece.id);
  }

  add() {
    this.step();
    this.choose(null);
    this.boxes.title.focus();
  }

  remove(id) {
    this.step();
    this.state.pieces = this.state.pieces.filter((one) => one.id !== id);
    this.choose(this.state.chosen === id ? this.ordered()[0]?.id || null : this.state.chosen);
  }

  choose(id) {
    this.state.chosen = id;
    this.intoForm();
    this.show();
    this.keepSoon();
    if (this.piece) {
      this.wave.reach(this.piece.start_ms ?? 0);
      this.askHeard();
    }
  }

  ordered() {
    return [...this.state.pieces].sort((a, b) => (a.start_ms ?? Infinity) - (b.start_ms ?? Infinity));
  }

  onClick(event) {
    const button = event.target.closest("button, a");
    if (!button) return;
    const { work, remove, hearMs, drop, catch: caught } = button.dataset;
    if (button.hasAttribute("data-close")) this.closeLink(button);
    else if (work) { this.choose(work); this.form.scrollIntoView({ block: "nearest" }); }
    else if (remove) this.remove(remove);
    else if (hearMs) this.go(Math.max(0, Number(hearMs) - BACK_MS));
    else if (drop !== undefined) this.dropHint(Number(drop));
    else if (caught) this.catchKey(button, caught);
    else if (button.dataset.do) this.act(button.dataset.do);
  }

  onChange(event) {
    const box = event.target;
    if (box.dataset.hint !== undefined) this.changeHint(Number(box.dataset.hint), box);
    if (box.hasAttribute("data-keys-on")) this.keys.isOn = box.checked;
  }

  /** The page for closing gets the stretch that is worked on. */
  closeLink(link) {
    const piece = this.piece;
    const url = new URL(this.data.closeUrl, location.href);
    if (piece && piece.start_ms !== null) url.searchParams.set("start", clockText(piece.start_ms, true));
    if (piece && piece.end_ms !== null) url.searchParams.set("end", clockText(piece.end_ms, true));
    link.href = url.href;
  }

  /* -- suggestions -- */

  async askHints() {
    this.say(this.words.looking);
    const response = await fetch(this.data.hintsUrl).catch(() => null);
    const found = response && response.ok ? (await response.json()).cuts : [];
    this.cuts = found.map((one) => ({ ...one, isTicked: false }));
    this.say(found.length ? "" : this.words.none_found);
    this.showHints();
  }

  changeHint(at, box) {
    if (box.type === "checkbox") this.cuts[at].isTicked = box.checked;
    else this.cuts[at].at_ms = this.within(typedMs(box.value) ?? this.cuts[at].at_ms);
    this.showHints();
  }

  dropHint(at) {
    this.cuts.splice(at, 1);
    this.showHints();
  }

  layOut() {
    const moments = this.cuts.filter((one) => one.isTicked).map((one) => one.at_ms);
    if (moments.length === 0) return;
    this.step();
    const empty = { title: "", summary: "", ...Object.fromEntries(NAMES.map((name) => [name, []])) };
    const made = between(moments, this.length_ms).map((one) => ({ ...structuredClone(empty), ...one, id: newId() }));
    this.state.pieces = [...this.state.pieces, ...made];
    this.cuts = this.cuts.filter((one) => !one.isTicked);
    this.choose(made[0].id);
    this.showHints();
  }

  async askHeard() {
    const piece = this.piece;
    const place = document.querySelector("[data-heard]");
    if (this.isOne || !place || !piece || piece.start_ms === null || piece.end_ms === null) return;
    const url = this.data.heardUrl + "?start=" + piece.start_ms + "&end=" + piece.end_ms;
    const response = await fetch(url).catch(() => null);
    if (!response || !response.ok || this.state.chosen !== piece.id) return;
    const { found } = await response.json();
    const list = place.querySelector("[data-heard-list]");
    const fresh = found.filter((one) => !(piece[one.field] || []).includes(one.name));
    list.replaceChildren(...fresh.map((one) => this.heardItem(one)));
    place.hidden = fresh.length === 0;
  }

  heardItem({ field, name }) {
    const item = document.createElement("li");
    const button = document.createElement("button");
    button.type = "button";
    button.className = "tie";
    button.dataset.takeName = name;
    button.dataset.into = field;
    const first = this.form.querySelector('input[name="' + field + '"]');
    const legend = first.closest("fieldset")?.querySelector("legend")?.firstChild?.textContent.trim() || field;
    button.textContent = legend + ": " + name;
    item.append(button);
    return item;
  }

  /* -- what is shown -- */

  show() {
    const piece = this.piece;
    this.wave.mark({ piece, pieces: this.state.pieces, edge: this.edge, cuts: this.cuts.map((one) => one.at_ms) });
    this.section.querySelectorAll("[data-edge]").forEach((handle) => {
      const time_ms = piece ? piece[handle.dataset.edge + "_ms"] : null;
      handle.setAttribute("aria-valuenow", String(time_ms ?? 0));
      handle.setAttribute("aria-valuetext", clockText(time_ms ?? 0, true));
    });
    const other = this.section.querySelector('[data-do="other_edge"]');
    other.textContent = this.edge === "start" ? this.words.moves_start : this.words.moves_end;
    other.setAttribute("aria-pressed", String(this.edge === "end"));
    this.section.querySelector('[data-do="undo"]').disabled = this.done.length === 0;
    this.section.querySelector('[data-do="redo"]').disabled = this.undone.length === 0;
    if (!this.isOne) this.showPieces();
  }

  showPieces() {
    this.find("pieces").replaceChildren(...this.ordered().map((piece) => {
      const item = document.createElement("li");
      if (piece.id === this.state.chosen) item.setAttribute("aria-current", "true");
      const times = document.createElement("span");
      times.className = "time";
      const end = piece.end_ms === null ? this.words.no_end : clockText(piece.end_ms, true);
      times.textContent = (piece.start_ms === null ? "?" : clockText(piece.start_ms, true)) + " – " + end;
      const title = document.createElement("span");
      title.textContent = piece.title || this.words.no_title;
      item.append(times, " ", title, this.button("work", piece.id, this.words.work_on, title.textContent),
        this.button("remove", piece.id, this.words.remove, title.textContent));
      return item;
    }));
  }

  button(name, value, words, about) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "button quiet";
    made.dataset[name] = value;
    const hidden = document.createElement("span");
    hidden.className = "visually-hidden";
    hidden.textContent = ": " + about;
    made.append(words, hidden);
    return made;
  }

  showHints() {
    this.find("hints").replaceChildren(...this.cuts.map((one, at) => this.hintItem(one, at)));
    this.find("lay").hidden = !this.cuts.some((one) => one.isTicked);
    this.wave.mark({ cuts: this.cuts.map((one) => one.at_ms) });
  }

  hintItem(one, at) {
    const item = document.createElement("li");
    const label = document.createElement("label");
    label.className = "tick";
    const tick = document.createElement("input");
    tick.type = "checkbox";
    tick.checked = one.isTicked;
    tick.dataset.hint = at;
    const accept = document.createElement("span");
    accept.textContent = this.words.accept;
    label.append(tick, accept);
    const box = document.createElement("input");
    box.className = "time-value";
    box.value = clockText(one.at_ms, true);
    box.dataset.hint = at;
    box.setAttribute("aria-label", this.words.moment);
    const why = document.createElement("span");
    why.className = "soft";
    const pause = one.pause_ms > 0 ? this.words.pause_of + " " + (one.pause_ms / 1000).toFixed(1) + " s" : this.words.words_shift;
    why.textContent = pause + (one.after ? "; " + this.words.begins_with + " “" + one.after.slice(0, 60) + "”" : "");
    const time = clockText(one.at_ms);
    item.append(label, box, this.button("hearMs", String(one.at_ms), this.words.hear, time),
      this.button("drop", String(at), this.words.not_here, time), why);
    return item;
  }

  showKeys() {
    const list = this.find("keys");
    list.replaceChildren(...LISTED.filter((action) => !this.isOne || !["split", "join"].includes(action)).map((action) => {
      const item = document.createElement("li");
      const button = this.button("catch", action, this.words[action], this.keys.map[action] || this.words.no_key);
      const key = document.createElement("kbd");
      key.textContent = this.keys.map[action] || "–";
      item.append(button, " ", key);
      return item;
    }));
  }

  catchKey(button, action) {
    button.textContent = this.words.press;
    this.keys.catchFor(action, () => {
      this.showKeys();
      this.section.querySelector('[data-catch="' + action + '"]')?.focus();
    });
  }

  /* -- the draft -- */

  keepSoon() {
    if (this.isOne) return;
    this.isDirty = true;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.keepNow(), KEEP_AFTER_MS);
  }

  /** Keeps the draft now; one request at a time, the newest state last. */
  async keepNow(isLeaving = false) {
    if (this.isOne || !this.isDirty) return;
    if (this.keeping && !isLeaving) {
      await this.keeping;
      if (this.isDirty) await this.keepNow();
      return;
    }
    clearTimeout(this.timer);
    this.isDirty = false;
    this.keeping = this.put(isLeaving);
    await this.keeping;
    this.keeping = null;
  }

  async put(isLeaving) {
    const content = { pieces: this.state.pieces, chosen: this.state.chosen, refused: this.refused };
    const token = this.form.querySelector('input[name="csrfmiddlewaretoken"]').value;
    let response;
    try {
      response = await fetch(this.data.draftUrl, { method: "PUT", keepalive: isLeaving, body: JSON.stringify({
        content, version: this.version }), headers: { "X-CSRFToken": token, "Content-Type": "application/json" } });
    } catch {
      this.isDirty = true;
      this.say(this.words.draft_failed, "draft-say");
      this.timer = setTimeout(() => this.keepNow(), RETRY_MS);
      return;
    }
    const answer = await response.json().catch(() => ({}));
    if (response.ok) {
      this.version = answer.version;
      this.say(this.words.draft_kept, "draft-say");
    } else if (response.status === 409) {
      this.version = answer.version;
      this.merge(answer.content.pieces || []);
      this.isDirty = true;
      this.say(this.words.draft_other, "draft-say");
      this.timer = setTimeout(() => this.keepNow(), KEEP_AFTER_MS);
    } else {
      this.say(answer.words || this.words.draft_failed, "draft-say");
    }
  }

  /** What another window marked is added; where both have a stretch, this window's stays. */
  merge(others) {
    const own = new Set(this.state.pieces.map((one) => one.id));
    this.state.pieces = [...this.state.pieces, ...others.filter((one) => one && one.id && !own.has(one.id))];
    this.show();
  }
}

if (typeof document !== "undefined") {
  document.querySelectorAll("[data-bench]").forEach((section) => new Bench(section));
}
