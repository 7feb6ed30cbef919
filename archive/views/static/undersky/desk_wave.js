/* The waveform of the desk: the whole above, what is in view below, with marks on both. Drawn on canvas.

   Peaks are pairs (lowest, highest) of signed bytes, 50 a second. Times are milliseconds. */

const PEAKS_PER_S = 50;
const STEP = 16;          /* each coarser level joins so many pairs of the finer one */
const LEAST_VIEW_MS = 2000;
const FIRST_VIEW_MS = 60000;

/** Levels of peaks, finest first; each an Int8Array of pairs. */
export function pyramid(peaks) {
  const levels = [peaks];
  while (levels[levels.length - 1].length > 4 * STEP) levels.push(coarser(levels[levels.length - 1]));
  return levels;
}

function coarser(fine) {
  const pairs = Math.ceil(fine.length / 2 / STEP);
  const made = new Int8Array(2 * pairs);
  for (let pair = 0; pair < pairs; pair += 1) {
    const [low, high] = extremes(fine, pair * STEP, Math.min((pair + 1) * STEP, fine.length / 2));
    made[2 * pair] = low;
    made[2 * pair + 1] = high;
  }
  return made;
}

/** Lowest and highest of the pairs [first, stop) of one level. */
export function extremes(level, first, stop) {
  let low = 0;
  let high = 0;
  for (let pair = Math.max(0, first); pair < stop && 2 * pair + 1 < level.length; pair += 1) {
    if (level[2 * pair] < low) low = level[2 * pair];
    if (level[2 * pair + 1] > high) high = level[2 * pair + 1];
  }
  return [low, high];
}

export class Wave {
  /** place: the element with both canvases. tell(name, detail): "go" {ms}, "edge" {edge, ms, isDone}. */
  constructor(place, length_ms, tell) {
    this.whole = place.querySelector("[data-whole]");
    this.near = place.querySelector("[data-near]");
    this.edges = [...place.querySelectorAll("[data-edge]")];
    this.length_ms = length_ms;
    this.tell = tell;
    this.levels = null;
    this.marks = { now_ms: 0, piece: null, pieces: [], standing: [], closed: [], cuts: [], edge: "start" };
    this.view = { start_ms: 0, span_ms: Math.min(length_ms, FIRST_VIEW_MS) };
    this.listen();
    new ResizeObserver(() => this.draw()).observe(place);
    new MutationObserver(() => this.draw()).observe(document.documentElement, { attributeFilter: ["data-scheme"] });
  }

  take(bytes) {
    this.levels = pyramid(new Int8Array(bytes));
    this.draw();
  }

  mark(marks) {
    Object.assign(this.marks, marks);
    this.draw();
  }

  /* -- view -- */

  look(start_ms, span_ms = this.view.span_ms) {
    const span = Math.min(this.length_ms, Math.max(LEAST_VIEW_MS, span_ms));
    this.view = { start_ms: Math.min(Math.max(0, start_ms), this.length_ms - span), span_ms: span };
    this.draw();
  }

  zoom(factor) {
    const { start_ms, span_ms } = this.view;
    const now_ms = this.marks.now_ms;
    const inside = start_ms <= now_ms && now_ms < start_ms + span_ms;
    const middle_ms = inside ? now_ms : start_ms + span_ms / 2;
    this.look(middle_ms - (span_ms * factor) / 2, span_ms * factor);
  }

  /** Keeps a moment in view. */
  reach(time_ms) {
    const { start_ms, span_ms } = this.view;
    if (time_ms < start_ms || time_ms > start_ms + span_ms * 0.95) this.look(time_ms - span_ms * 0.1);
  }

  /* -- pointers: fingers, pens and mice alike -- */

  listen() {
    const time = (canvas, event, start_ms, span_ms) => {
      const box = canvas.getBoundingClientRect();
      const share = Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
      return start_ms + share * span_ms;
    };
    this.near.addEventListener("click", (event) => {
      this.tell("go", { ms: time(this.near, event, this.view.start_ms, this.view.span_ms) });
    });
    this.near.addEventListener("wheel", (event) => {
      if (Math.abs(event.deltaX) < Math.abs(event.deltaY) && !event.shiftKey) return;
      event.preventDefault();
      this.look(this.view.start_ms + ((event.deltaX || event.deltaY) / this.near.clientWidth) * this.view.span_ms);
    }, { passive: false });
    const drag = (event) => this.look(time(this.whole, event, 0, this.length_ms) - this.view.span_ms / 2);
    this.whole.addEventListener("pointerdown", (event) => {
      this.whole.setPointerCapture(event.pointerId);
      drag(event);
    });
    this.whole.addEventListener("pointermove", (event) => {
      if (this.whole.hasPointerCapture(event.pointerId)) drag(event);
    });
    this.edges.forEach((handle) => this.listenTo(handle, time));
  }

  listenTo(handle, time) {
    const edge = handle.dataset.edge;
    const at = (event) => time(this.near, event, this.view.start_ms, this.view.span_ms);
    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
      event.preventDefault();
      handle.focus();
    });
    handle.addEventListener("pointermove", (event) => {
      if (handle.hasPointerCapture(event.pointerId)) this.tell("edge", { edge, ms: at(event), isDone: false });
    });
    handle.addEventListener("pointerup", (event) => this.tell("edge", { edge, ms: at(event), isDone: true }));
    handle.addEventListener("keydown", (event) => {
      const step_ms = { ArrowLeft: -100, ArrowDown: -100, ArrowRight: 100, ArrowUp: 100, PageDown: -1000,
        PageUp: 1000 }[event.key];
      if (step_ms === undefined) return;
      event.preventDefault();
      this.tell("edge", { edge, ms: this.marks.piece[edge + "_ms"] + step_ms, isDone: true });
    });
  }

  /* -- drawing -- */

  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.paint(this.whole, 0, this.length_ms, false);
      this.paint(this.near, this.view.start_ms, this.view.span_ms, true);
      this.placeEdges();
    });
  }

  paint(canvas, start_ms, span_ms, isNear) {
    const width = canvas.clientWidth;
    const height = canvas.clientHeight;
    if (width === 0) return;
    const sharp = window.devicePixelRatio || 1;
    if (canvas.width !== Math.round(width * sharp)) canvas.width = Math.round(width * sharp);
    if (canvas.height !== Math.round(height * sharp)) canvas.height = Math.round(height * sharp);
    const pen = canvas.getContext("2d");
    const style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(name).trim();
    pen.setTransform(sharp, 0, 0, sharp, 0, 0);
    pen.clearRect(0, 0, width, height);
    const x = (time_ms) => ((time_ms - start_ms) / span_ms) * width;
    this.paintBands(pen, x, height, colour, isNear);
    this.paintPeaks(pen, start_ms, span_ms, width, height, colour);
    this.paintLines(pen, x, height, colour, isNear);
  }

  paintBands(pen, x, height, colour, isNear) {
    const band = (one, top, tall) => {
      pen.fillRect(x(one.start_ms), top, Math.max(1, x(one.end_ms) - x(one.start_ms)), tall);
    };
    pen.fillStyle = colour("--kind-sky");
    this.marks.standing.forEach((one) => band(one, height - (isNear ? 8 : 4), isNear ? 8 : 4));
    pen.fillStyle = colour("--wave-segment");
    this.marks.pieces.filter((one) => one.end_ms !== null).forEach((one) => band(one, 0, height));
    pen.fillStyle = colour("--bad-ground");
    this.marks.closed.forEach((one) => band(one, 0, height));
    pen.fillStyle = colour("--bad");
    this.marks.closed.forEach((one) => band(one, 0, isNear ? 5 : 3));
  }

  paintPeaks(pen, start_ms, span_ms, width, height, colour) {
    if (!this.levels) return;
    const pairsAPixel = ((span_ms / 1000) * PEAKS_PER_S) / width;
    let size = 1;
    let at = 0;
    while (at + 1 < this.levels.length && size * STEP <= pairsAPixel) {
      size *= STEP;
      at += 1;
    }
    const level = this.levels[at];
    const first = ((start_ms / 1000) * PEAKS_PER_S) / size;
    const each = pairsAPixel / size;
    pen.fillStyle = colour("--wave");
    for (let pixel = 0; pixel < width; pixel += 1) {
      const from = Math.floor(first + pixel * each);
      const [low, high] = extremes(level, from, Math.max(from + 1, Math.ceil(first + (pixel + 1) * each)));
      const top = (height / 2) * (1 - high / 128);
      pen.fillRect(pixel, top, 1, Math.max(1, (height / 2) * (1 - low / 128) - top));
    }
  }

  paintLines(pen, x, height, colour, isNear) {
    const line = (time_ms, wide) => pen.fillRect(x(time_ms) - wide / 2, 0, wide, height);
    pen.fillStyle = colour("--chart-mirror");
    this.marks.cuts.forEach((time_ms) => {
      for (let top = 0; top < height; top += 8) pen.fillRect(x(time_ms) - 1, top, 2, 4);
    });
    if (this.marks.piece) {
      pen.fillStyle = colour("--press");
      [this.marks.piece.start_ms, this.marks.piece.end_ms].forEach((time_ms) => {
        if (time_ms !== null) line(time_ms, isNear ? 3 : 2);
      });
    }
    pen.fillStyle = colour("--focus");
    line(this.marks.now_ms, 2);
    if (!isNear) {
      pen.strokeStyle = colour("--ink");
      pen.lineWidth = 2;
      const left = x(this.view.start_ms);
      pen.strokeRect(left + 1, 1, Math.max(4, x(this.view.start_ms + this.view.span_ms) - left - 2), height - 2);
    }
  }

  /** The handles hang at the stretch's edges while these are in view. */
  placeEdges() {
    const { start_ms, span_ms } = this.view;
    this.edges.forEach((handle) => {
      const time_ms = this.marks.piece ? this.marks.piece[handle.dataset.edge + "_ms"] : null;
      const inView = time_ms !== null && start_ms <= time_ms && time_ms <= start_ms + span_ms;
      handle.hidden = !inView && document.activeElement !== handle;
      handle.style.left = inView ? ((time_ms - start_ms) / span_ms) * 100 + "%" : "0";
      handle.classList.toggle("moves", this.marks.edge === handle.dataset.edge);
    });
  }
}
