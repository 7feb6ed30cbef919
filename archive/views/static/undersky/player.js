/* The sound player of Undersky: takes what parts/player.html wrote and makes it its own.

   Times are milliseconds, counted from the start of the served sound. Without this script the browser's own
   controls remain, and each line's time is a link to the sound at that second.

   Started from the page's #t=start or #t=start,end (W3C Media Fragments URI 1.0, section 4.2.1), else from
   the player's data-start-ms and data-end-ms. It stops at the end of that stretch.

   Every player sends "undersky:time" from its <section>, with detail {now_ms, playing}, as often as the
   screen is drawn, and listens there for "undersky:go" with detail {start_ms, end_ms, play}. */

const SPEED_KEY = "undersky-speed";
const BACK_MS = 2000;

/* ---------- plain functions ---------- */

/** One Normal Play Time value ("12.5", "1:02", "1:02:03.5") in ms, or null if it is not one. */
export function nptMs(text) {
  const seconds = /^(\d+)(\.\d*)?$/.exec(text);
  if (seconds) return Math.round(Number(text) * 1000);
  const clock = /^(?:(\d+):)?([0-5]\d):([0-5]\d)(\.\d*)?$/.exec(text);
  if (!clock) return null;
  const whole_s = Number(clock[1] || 0) * 3600 + Number(clock[2]) * 60 + Number(clock[3]);
  return Math.round((whole_s + Number("0" + (clock[4] || ".0"))) * 1000);
}

/** {start_ms, end_ms} of a URL fragment, end_ms null where open; null if it holds no valid time. */
export function fragmentStretch(fragment) {
  const values = fragment.replace(/^#/, "").split("&").filter((part) => part.startsWith("t="));
  if (values.length === 0) return null;
  const last = values[values.length - 1].slice(2);
  const value = last.replace(/%2C/gi, ",").replace(/%3A/gi, ":").replace(/^npt:/, "");
  const parts = value.split(",");
  if (parts.length > 2 || value === "" || (parts.length === 2 && parts[1] === "")) return null;
  const start_ms = parts[0] === "" ? 0 : nptMs(parts[0]);
  const end_ms = parts.length === 2 ? nptMs(parts[1]) : null;
  if (start_ms === null || (parts.length === 2 && end_ms === null)) return null;
  if (end_ms !== null && end_ms <= start_ms) return null;
  return { start_ms, end_ms };
}

/** "1:02:03" or "2:03"; with_ms adds the thousandths ("2:03.512"). */
export function clockText(time_ms, with_ms = false) {
  const total_ms = Math.max(0, Math.round(time_ms));
  const whole_s = Math.floor(total_ms / 1000);
  const two = (number) => String(number).padStart(2, "0");
  const hours = Math.floor(whole_s / 3600);
  const minutes = Math.floor(whole_s / 60) % 60;
  const head = hours ? hours + ":" + two(minutes) : String(minutes);
  const tail = with_ms ? "." + String(total_ms % 1000).padStart(3, "0") : "";
  return head + ":" + two(whole_s % 60) + tail;
}

/** Index of the last cue that holds time_ms in [start, end), or -1. cues: [{start_ms, end_ms}]. */
export function cueAt(cues, time_ms) {
  for (let index = cues.length - 1; index >= 0; index -= 1) {
    if (cues[index].start_ms <= time_ms && time_ms < cues[index].end_ms) return index;
  }
  return -1;
}

/** The speed that was chosen last, as text; "1" if none was. */
export function keptSpeed() {
  try {
    return window.localStorage.getItem(SPEED_KEY) || "1";
  } catch {
    return "1";
  }
}

function keep(key, value) {
  try {
    window.localStorage.setItem(key, value);
  } catch {
    /* storage is switched off: the speed lasts for this page only */
  }
}

/* ---------- one player ---------- */

class Player {
  constructor(section) {
    this.section = section;
    this.audio = section.querySelector("audio");
    this.find = (name) => section.querySelector("[data-" + name + "]");
    this.button = section.querySelector('[data-do="toggle"]');
    this.cueItems = [...section.querySelectorAll("[data-cues] > li")];
    this.cues = this.cueItems.map((item) => ({
      start_ms: Number(item.dataset.startMs), end_ms: Number(item.dataset.endMs) }));
    this.quiet = [...section.querySelectorAll("[data-quiet]")];
    this.current = -1;
    this.stretch = this.ownStretch();
    this.show();
    this.listen();
    this.setSpeed(keptSpeed());
    if (location.hash) this.followHash(false);
    this.go(this.stretch.start_ms);
  }

  ownStretch() {
    const data = this.section.dataset;
    const end_ms = data.endMs === undefined ? null : Number(data.endMs);
    return { start_ms: Number(data.startMs || 0), end_ms };
  }

  show() {
    this.audio.controls = false;
    this.audio.hidden = true;
    ["bar", "place", "marks", "follow-label", "keys"].forEach((name) => {
      const part = this.find(name);
      if (part) part.hidden = false;
    });
    this.drawQuiet();
    document.querySelectorAll('[data-player-id="' + this.section.id + '"]').forEach((button) => {
      button.hidden = false;
    });
  }

  listen() {
    const on = (target, name, action) => target && target.addEventListener(name, action);
    on(this.button, "click", () => this.toggle());
    on(this.section.querySelector('[data-do="back"]'), "click", () => this.back());
    on(this.find("speed"), "change", (event) => this.setSpeed(event.target.value));
    on(this.find("seek"), "input", (event) => this.moveTo(Number(event.target.value)));
    on(this.find("cues"), "click", (event) => this.onCue(event));
    on(this.section, "keydown", (event) => this.onKey(event));
    on(this.section, "undersky:go", (event) => this.playStretch(event.detail));
    on(this.audio, "loadedmetadata", () => this.onLoaded());
    on(this.audio, "timeupdate", () => this.tick());
    on(this.audio, "play", () => this.onPlay());
    on(this.audio, "pause", () => this.onState());
    on(this.audio, "ended", () => this.onState());
    on(this.audio, "error", () => this.say(this.section.dataset.wordFail));
    on(window, "hashchange", () => this.followHash(true));
  }

  /* -- time -- */

  get now_ms() {
    return this.wanted_ms !== undefined ? this.wanted_ms : this.audio.currentTime * 1000;
  }

  get length_ms() {
    const loaded_s = this.audio.duration;
    return Number.isFinite(loaded_s) ? loaded_s * 1000 : Number(this.section.dataset.lengthMs || 0);
  }

  /** Moves to time_ms; before the sound's head is loaded the wish is kept and carried out then. */
  go(time_ms) {
    const target_ms = Math.max(0, time_ms);
    if (this.audio.readyState >= HTMLMediaElement.HAVE_METADATA) {
      this.wanted_ms = undefined;
      this.audio.currentTime = target_ms / 1000;
    } else {
      this.wanted_ms = target_ms;
    }
    this.draw();
  }

  onLoaded() {
    const wanted_ms = this.wanted_ms;
    if (wanted_ms !== undefined) this.go(wanted_ms);
    this.draw();
  }

  /* -- what a person does -- */

  async toggle() {
    if (!this.audio.paused) {
      this.audio.pause();
      return;
    }
    const end_ms = this.stretch.end_ms;
    if (end_ms !== null && this.now_ms >= end_ms - 20) this.go(this.stretch.start_ms);
    await this.play();
  }

  async play() {
    this.say("");
    try {
      await this.audio.play();
    } catch (problem) {
      if (problem.name === "NotSupportedError") this.say(this.section.dataset.wordFail);
    }
  }

  back() {
    this.moveTo(this.now_ms - BACK_MS);
  }

  /** Goes where a person points; whoever leaves the stretch is no longer stopped at its end. */
  moveTo(time_ms) {
    const { start_ms, end_ms } = this.stretch;
    const inside = start_ms <= time_ms && (end_ms === null || time_ms < end_ms);
    if (!inside) this.stretch = { start_ms: 0, end_ms: null };
    this.go(time_ms);
  }

  playStretch({ start_ms, end_ms = null, play = true }) {
    this.stretch = { start_ms, end_ms };
    this.go(start_ms);
    if (play) this.play();
  }

  /** Follows the page's #t=; returns at once where the fragment names another part of the page. */
  followHash(play) {
    const stretch = fragmentStretch(location.hash);
    if (stretch) this.playStretch({ ...stretch, play });
  }

  playCue(index) {
    if (!this.cues[index]) return;
    this.moveTo(this.cues[index].start_ms);
    this.play();
  }

  onCue(event) {
    const link = event.target.closest("a.time");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    this.playCue(this.cueItems.indexOf(link.closest("li")));
  }

  onKey(event) {
    const typing = /^(SELECT|TEXTAREA)$/.test(event.target.tagName) || event.target.type === "text";
    if (typing || event.ctrlKey || event.metaKey || event.altKey) return;
    const action = {
      p: () => this.toggle(),
      b: () => this.back(),
      n: () => this.playCue(this.nextCue()),
      r: () => this.playCue(this.current),
      s: () => this.stepSpeed(-1),
      f: () => this.stepSpeed(1),
    }[event.key.toLowerCase()];
    if (!action) return;
    event.preventDefault();
    action();
  }

  nextCue() {
    return this.cues.findIndex((cue) => cue.start_ms > this.now_ms);
  }

  setSpeed(value) {
    const select = this.find("speed");
    const offered = [...select.options].map((option) => option.value);
    const speed = offered.includes(value) ? value : "1";
    select.value = speed;
    this.audio.defaultPlaybackRate = Number(speed);
    this.audio.playbackRate = Number(speed);
    keep(SPEED_KEY, speed);
  }

  stepSpeed(step) {
    const select = this.find("speed");
    const next = select.options[select.selectedIndex + step];
    if (next) this.setSpeed(next.value);
  }

  /* -- what the page shows -- */

  onPlay() {
    this.onState();
    const each = () => {
      this.tick();
      if (!this.audio.paused) requestAnimationFrame(each);
    };
    requestAnimationFrame(each);
  }

  onState() {
    const playing = !this.audio.paused && !this.audio.ended;
    this.section.classList.toggle("playing", playing);
    this.button.textContent = playing ? this.section.dataset.wordPause : this.section.dataset.wordPlay;
    this.draw();
  }

  /** Stops at the stretch's end: looked at on every frame, so within about 1/60 s while seen. */
  tick() {
    const end_ms = this.stretch.end_ms;
    if (!this.audio.paused && end_ms !== null && this.now_ms >= end_ms) {
      this.audio.pause();
      this.go(end_ms);
    }
    this.draw();
  }

  draw() {
    const seek = this.find("seek");
    const now_ms = this.now_ms;
    seek.max = String(this.length_ms || Math.max(now_ms, 1));
    seek.step = "100";
    seek.value = String(now_ms);
    seek.setAttribute("aria-valuetext", clockText(now_ms));
    this.find("now").textContent = clockText(now_ms);
    this.find("length").textContent = this.length_ms ? clockText(this.length_ms) : "";
    this.markCue(cueAt(this.cues, now_ms));
    this.markQuiet(now_ms);
    this.section.dispatchEvent(new CustomEvent("undersky:time", {
      detail: { now_ms, playing: !this.audio.paused } }));
  }

  /** A strip under the slider shows where it is quiet; the words beside it say when, script or not. */
  drawQuiet() {
    const marks = this.find("marks");
    if (!marks || !this.length_ms) return;
    marks.replaceChildren(...this.quiet.map((one) => {
      const mark = document.createElement("span");
      const [start_ms, end_ms] = [Number(one.dataset.startMs), Number(one.dataset.endMs)];
      mark.style.left = (100 * start_ms) / this.length_ms + "%";
      mark.style.width = (100 * (end_ms - start_ms)) / this.length_ms + "%";
      return mark;
    }));
  }

  markQuiet(now_ms) {
    this.quiet.forEach((one) => {
      const isNow = Number(one.dataset.startMs) <= now_ms && now_ms < Number(one.dataset.endMs);
      one.classList.toggle("now", isNow);
    });
  }

  markCue(index) {
    if (index === this.current) return;
    if (this.cueItems[this.current]) this.cueItems[this.current].removeAttribute("aria-current");
    this.current = index;
    const item = this.cueItems[index];
    if (!item) return;
    item.setAttribute("aria-current", "true");
    if (this.find("follow").checked) this.keepInView(item);
  }

  /** Scrolls the list only, never the page: a reader elsewhere on it is left in peace. */
  keepInView(item) {
    const list = this.find("cues");
    const over = item.offsetTop < list.scrollTop;
    const under = item.offsetTop + item.offsetHeight > list.scrollTop + list.clientHeight;
    if (over || under) list.scrollTop = item.offsetTop - list.clientHeight / 3;
  }

  say(words) {
    this.find("say").textContent = words;
  }
}

/* ---------- the page ---------- */

const players = new WeakMap();

function startPlayers(root) {
  root.querySelectorAll("[data-player]").forEach((section) => {
    if (!players.has(section)) players.set(section, new Player(section));
  });
}

function takeTime(event) {
  const button = event.target.closest("[data-take-time]");
  if (!button) return;
  const player = players.get(document.getElementById(button.dataset.playerId));
  const input = document.getElementById(button.dataset.takeTime);
  if (!player || !input) return;
  input.value = clockText(player.now_ms, true);
  input.dispatchEvent(new Event("change", { bubbles: true }));
}

if (typeof document !== "undefined") {
  startPlayers(document);
  document.addEventListener("click", takeTime);
  document.addEventListener("htmx:load", (event) => startPlayers(event.target));
}
