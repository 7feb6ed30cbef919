/* Sends recordings in pieces, so that a broken connection or a closed laptop costs one piece and no more.

   The form itself works without this script. With it, the files go first, in pieces of data-piece-bytes, each
   answered for with the number of bytes that are here; then the form is sent without them, naming the upload where
   there is one (a form with data-many knows its files by their names). Choosing the same file again goes on where it
   stopped, on another day too. */

const TRIES = 6;
const FIRST_WAIT_MS = 1000;

const wait = (time_ms) => new Promise((done) => setTimeout(done, time_ms));

class Stopped extends Error {}

class Sender {
  constructor(form) {
    this.form = form;
    this.isMany = form.hasAttribute("data-many");
    this.box = form.querySelector(this.isMany ? 'input[name="files"]' : 'input[name="audio"]');
    this.place = form.querySelector("[data-upload]");
    this.bar = this.place.querySelector("progress");
    this.token = form.querySelector('input[name="csrfmiddlewaretoken"]').value;
    form.addEventListener("submit", (event) => this.onSubmit(event));
  }

  say(words) {
    this.place.querySelector("[data-say]").textContent = words;
  }

  async onSubmit(event) {
    const files = [...this.box.files].filter((file) => file.size > 0);
    if (files.length === 0 || this.sent) return;
    event.preventDefault();
    this.pressed = event.submitter;
    if (this.busy) return;
    this.busy = true;
    const buttons = [...this.form.querySelectorAll("button[type=submit]")];
    buttons.forEach((button) => { button.disabled = true; });
    try {
      let ref;
      for (const [at, file] of files.entries()) {
        this.about = files.length > 1 ? at + 1 + " / " + files.length + " · " + file.name + " · " : "";
        ref = await this.send(file);
      }
      this.finish(ref);
    } catch (problem) {
      this.say(problem instanceof Stopped ? problem.message : this.form.dataset.wordStopped);
      buttons.forEach((button) => { button.disabled = false; });
      this.busy = false;
    }
  }

  /** Sends what is not here yet; gives the upload's address. */
  async send(file) {
    this.place.hidden = false;
    let state = await this.ask(this.form.dataset.beginUrl, {
      method: "POST", headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ name: file.name, size: file.size }) });
    const url = this.form.dataset.beginUrl + state.ref + "/";
    const piece = Number(this.form.dataset.pieceBytes);
    while (state.arrived < file.size) {
      this.show(state.arrived, file.size);
      const at = state.arrived;
      const answer = await this.ask(url, {
        method: "PUT", headers: { "X-Offset": String(at), "Content-Type": "application/octet-stream" },
        body: file.slice(at, at + piece) });
      state = { ...state, arrived: answer.arrived };
    }
    this.show(file.size, file.size);
    return state.ref;
  }

  show(arrived, size) {
    const percent = Math.floor((100 * arrived) / size);
    this.bar.value = percent;
    const mega = (bytes) => (bytes / 1e6).toFixed(1);
    this.say(this.about + percent + " % · " + mega(arrived) + " / " + mega(size) + " MB");
  }

  /** One request, tried again while the connection fails; 409 is an answer too: it says where to go on. */
  async ask(url, options) {
    const headers = { ...options.headers, "X-CSRFToken": this.token, Accept: "application/json" };
    for (let attempt = 0; attempt < TRIES; attempt += 1) {
      if (attempt > 0) {
        this.say(this.form.dataset.wordAgain);
        await wait(FIRST_WAIT_MS * 2 ** (attempt - 1));
      }
      let response;
      try {
        response = await fetch(url, { ...options, headers, redirect: "manual" });
      } catch {
        continue;
      }
      if (response.type === "opaqueredirect") throw new Stopped(this.form.dataset.wordSignIn);
      if (response.status >= 500 && response.status !== 507) continue;
      const answer = await response.json().catch(() => ({}));
      if (response.ok || response.status === 409) return answer;
      throw new Stopped(answer.words || this.form.dataset.wordStopped);
    }
    throw new Stopped(this.form.dataset.wordStopped);
  }

  finish(ref) {
    if (this.isMany) {
      if (this.pressed?.name) this.sendWith(this.pressed.name, this.pressed.value);
    } else {
      this.form.querySelectorAll('input[name="kept"]').forEach((box) => { box.disabled = true; });
      this.sendWith("kept", ref);
    }
    this.box.disabled = true;
    this.sent = true;
    this.say(this.form.dataset.wordSent);
    this.form.submit();
  }

  sendWith(name, value) {
    const hidden = document.createElement("input");
    hidden.type = "hidden";
    hidden.name = name;
    hidden.value = value;
    this.form.append(hidden);
  }
}

if (typeof document !== "undefined") {
  document.querySelectorAll("form[data-bring]").forEach((form) => new Sender(form));
}
