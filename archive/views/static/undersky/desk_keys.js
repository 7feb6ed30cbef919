/* Keys of the desk, and pedals that act as keys. A mapping is {action: key}; it is kept in this browser.

   Keys that write a letter rest while a person types in a box; function, media and pedal keys work there too. The
   keys can be switched off (WCAG 2.2, 2.1.4). */

const KEPT = "undersky-desk-keys";

export const FIRST_KEYS = {
  play: "p", back: "b", hold: "h", mark_start: "[", mark_end: "]", play_piece: "l", nudge_minus: ",", nudge_plus: ".",
  other_edge: "o", split: "x", join: "j", undo: "z", redo: "y" };

const EDITING = /^(Enter|Tab|Backspace|Delete|Escape|Arrow.*|Home|End|PageUp|PageDown|Shift|Control|Alt|Meta|CapsLock| )$/;

/** What a key is called in a mapping: the sign it writes, or its name; modifiers in front. */
export function keyName(event) {
  const own = event.key === "Unidentified" || event.key === "" ? event.code : event.key;
  const name = own.length === 1 ? own.toLowerCase() : own;
  const marks = [event.ctrlKey && "Control", event.altKey && "Alt", event.metaKey && "Meta"].filter(Boolean);
  return [...marks, name].join("+");
}

/** Whether a key is one that a person needs while typing in a box. */
export function writes(event) {
  return event.key.length === 1 || EDITING.test(event.key);
}

function isBox(target) {
  return target.matches?.("input:not([type=checkbox], [type=radio], [type=range], [type=button]), textarea, select");
}

export class Keys {
  /** act(action, isDown) is called for each press, and for the release of those in `held`. */
  constructor(act, held = ["hold"]) {
    this.act = act;
    this.held = held;
    this.map = { ...FIRST_KEYS, ...this.read() };
    this.isOn = true;
    this.catching = null;
    document.addEventListener("keydown", (event) => this.onDown(event));
    document.addEventListener("keyup", (event) => this.onUp(event));
  }

  read() {
    try {
      return JSON.parse(window.localStorage.getItem(KEPT)) || {};
    } catch {
      return {};
    }
  }

  keep() {
    try {
      window.localStorage.setItem(KEPT, JSON.stringify(this.map));
    } catch {
      /* storage is switched off: the keys last for this page only */
    }
  }

  /** The next key that is pressed is this action's; whichever other action had it, has it no more. */
  catchFor(action, done) {
    this.catching = { action, done };
  }

  give(action, name) {
    Object.keys(this.map).forEach((other) => {
      if (this.map[other] === name) this.map[other] = "";
    });
    this.map[action] = name;
    this.keep();
  }

  reset() {
    this.map = { ...FIRST_KEYS };
    this.keep();
  }

  actionOf(event) {
    const name = keyName(event);
    return Object.keys(this.map).find((action) => this.map[action] === name);
  }

  onDown(event) {
    if (this.catching) {
      this.onCaught(event);
      return;
    }
    if (!this.isOn || event.defaultPrevented || (isBox(event.target) && writes(event))) return;
    const action = this.actionOf(event);
    if (!action) return;
    event.preventDefault();
    if (this.held.includes(action) && event.repeat) return;
    this.act(action, true);
  }

  onUp(event) {
    if (!this.isOn) return;
    const action = this.actionOf(event);
    if (action && this.held.includes(action)) this.act(action, false);
  }

  onCaught(event) {
    if (/^(Shift|Control|Alt|Meta)$/.test(event.key)) return;
    event.preventDefault();
    const { action, done } = this.catching;
    this.catching = null;
    if (event.key !== "Escape" && event.key !== "Tab") this.give(action, keyName(event));
    done();
  }
}
