/* A line drawn on the map, to ask what rises or sets along it. Two presses make it: where somebody stands, and what they
   look towards; a mark of a place will do for either, by key too. The page of bearings works everything out.

   underskyLine(map, options) gives {take(at, ref)}, which every press asks before it opens anything: true where it was a
   part of the line. options: bearings (address of that page), words. */
(function () {
  "use strict";

  /** What the page of bearings is asked for one end: a place by its ref, or a spot. */
  function asked(end, ref, latitude, longitude) {
    if (end.ref) return [[ref, end.ref]];
    const at = end.at.wrap();
    return [[latitude, at.lat.toFixed(6)], [longitude, at.lng.toFixed(6)]];
  }

  function Line(map, options) {
    const self = this;
    this.map = map;
    this.options = options;
    this.ends = [];
    this.drawn = L.polyline([], { className: "drawn-line", interactive: false }).addTo(map);
    this.isOn = false;
    const control = new L.Control({ position: "topright" });
    control.onAdd = function () {
      return self.panel();
    };
    control.addTo(map);
    map.on("mousemove", function (event) {
      if (self.isOn && self.ends.length === 1) self.drawn.setLatLngs([self.ends[0].at, event.latlng]);
    });
    map.getContainer().addEventListener("keydown", function (event) {
      if (event.key === "Escape" && self.isOn) self.stop();
    });
  }

  Line.prototype.panel = function () {
    const self = this;
    const holder = L.DomUtil.create("div", "line-panel");
    this.button = L.DomUtil.create("button", "", holder);
    this.button.type = "button";
    this.button.textContent = this.options.words.line;
    this.button.setAttribute("aria-pressed", "false");
    this.said = L.DomUtil.create("p", "", holder);
    this.said.setAttribute("role", "status");
    this.button.addEventListener("click", function () {
      if (self.isOn) self.stop();
      else self.begin();
    });
    L.DomEvent.disableClickPropagation(holder);
    return holder;
  };

  Line.prototype.begin = function () {
    this.turn(true);
    this.ends = [];
    this.drawn.setLatLngs([]);
    this.said.textContent = this.options.words.stand;
    this.map.closePopup();
  };

  Line.prototype.stop = function () {
    this.turn(false);
    this.drawn.setLatLngs([]);
    this.said.textContent = "";
  };

  Line.prototype.turn = function (isOn) {
    this.isOn = isOn;
    this.button.setAttribute("aria-pressed", String(isOn));
    this.map.getContainer().classList.toggle("is-drawing", isOn);
  };

  Line.prototype.take = function (at, ref) {
    if (!this.isOn) return false;
    const end = { at: L.latLng(at), ref: ref };
    if (this.ends.length === 1 && this.ends[0].at.equals(end.at)) return true;
    this.ends.push(end);
    this.drawn.setLatLngs(this.ends.map(function (one) {
      return one.at;
    }));
    if (this.ends.length === 1) this.said.textContent = this.options.words.towards;
    else this.ask();
    return true;
  };

  /** The line is whole: it stays, with the way to the page that says what rises or sets along it. */
  Line.prototype.ask = function () {
    this.turn(false);
    const query = new URLSearchParams([
      ...asked(this.ends[0], "from", "latitude", "longitude"),
      ...asked(this.ends[1], "to", "to_latitude", "to_longitude"),
    ]);
    const link = document.createElement("a");
    link.href = this.options.bearings + "?" + query;
    link.textContent = this.options.words.along;
    this.said.replaceChildren(link);
    link.focus({ preventScroll: true });
  };

  window.underskyLine = function (map, options) {
    const line = new Line(map, options);
    if (parent.location.hash === "#line") line.begin();
    return line;
  };
})();
