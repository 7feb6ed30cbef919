/* The places of the map, inside its frame. The page calls underskyPlaces(map, options) once Leaflet's map stands.

   Only what is in view is drawn: a mark for each place, and one mark with a number where places lie closer together
   on the screen than a finger needs. Marks are buttons (tab key, Enter), in the order of the places' names. Colours
   come from map.css, so that a change of scheme needs no drawing anew.

   options: places (address of the columns, archive/maps/frame.py), place (address of one, with REF in it), find (address
   of the find page), layers, bearings (see map_line.js), words. */
(function () {
  "use strict";

  const APART_PX = 44;
  const BEYOND = 0.25; // of the view, drawn on each side of it
  const MOST_CELLS = 400;
  const CLOSEST_ZOOM = 15;
  const LISTED = 40;
  const MOST_NORTH = 85; // degrees: a Mercator map goes no farther; what lies beyond is marked at its edge
  const NEAR_KM = [2, 5, 20];
  const BELOW_PX = 64;

  /* ---------- plain functions ---------- */

  /** The columns as rows: {ref, name, language, nature, told, lat, lon, cell}, where cell is null for a spot. */
  function rowsOf(data) {
    return data.refs.map(function (ref, index) {
      const at = data.at[index];
      const isCell = at.length === 4;
      return {
        ref: ref,
        name: data.names[index],
        language: data.languages[data.language[index]],
        nature: data.natures[data.nature[index]],
        told: data.told[index],
        cell: isCell ? at : null,
        lat: isCell ? (at[0] + at[2]) / 2 : at[0],
        lon: isCell ? (at[1] + at[3]) / 2 : at[1],
      };
    });
  }

  /** The longitude, by whole turns, that lies nearest to another: across the date line too. */
  function nearTo(lon, middle) {
    return lon + 360 * Math.round((middle - lon) / 360);
  }

  /** The nearest latitude that the map has. */
  function onMap(lat) {
    return Math.max(-MOST_NORTH, Math.min(MOST_NORTH, lat));
  }

  /** Groups of rows whose points lie within APART_PX of the first of the group, in the order given. */
  function grouped(points) {
    const groups = [];
    const squares = new Map();
    points.forEach(function (point) {
      const column = Math.floor(point.x / APART_PX);
      const line = Math.floor(point.y / APART_PX);
      const near = nearest(squares, point, column, line);
      if (near) {
        near.rows.push(point.row);
        return;
      }
      const made = { x: point.x, y: point.y, lat: point.row.lat, lon: point.lon, rows: [point.row] };
      groups.push(made);
      const key = column + ":" + line;
      squares.set(key, (squares.get(key) || []).concat(made));
    });
    return groups;
  }

  function nearest(squares, point, column, line) {
    for (let across = column - 1; across <= column + 1; across += 1) {
      for (let down = line - 1; down <= line + 1; down += 1) {
        const found = (squares.get(across + ":" + down) || []).find(function (group) {
          return Math.hypot(group.x - point.x, group.y - point.y) < APART_PX;
        });
        if (found) return found;
      }
    }
    return null;
  }

  function element(tag, className, text) {
    const made = document.createElement(tag);
    if (className) made.className = className;
    if (text) made.textContent = text;
    return made;
  }

  /* ---------- the map ---------- */

  function Places(map, options) {
    this.map = map;
    this.options = options;
    this.rows = [];
    this.marks = new Map();
    this.under = L.layerGroup().addTo(map);
    const width = Math.min(300, map.getSize().x - 64);
    this.popup = L.popup({
      maxWidth: width, minWidth: Math.min(width, 220), maxHeight: 340, autoPanPadding: [8, 8],
      autoPanPaddingTopLeft: [8, BELOW_PX], // else the button of the line lies over the one that closes
    });
    map.attributionControl.setPrefix(false);
  }

  Places.prototype.load = function () {
    const self = this;
    return fetch(this.options.places, { credentials: "same-origin" })
      .then(function (answer) {
        if (!answer.ok) throw new Error(String(answer.status));
        return answer.json();
      })
      .then(function (data) {
        self.rows = rowsOf(data);
        self.mirrors = data.mirrors;
        self.draw();
        self.map.on("zoomend moveend", self.draw, self);
        document.documentElement.setAttribute("data-places", String(self.rows.length));
      })
      .catch(function () {
        self.popup.setLatLng(self.map.getCenter()).setContent(self.options.words.fail).openOn(self.map);
      });
  };

  Places.prototype.draw = function () {
    const map = this.map;
    const zoom = map.getZoom();
    const middle = map.getCenter().lng;
    const seen = map.getBounds().pad(BEYOND);
    const points = [];
    this.rows.forEach(function (row) {
      const lon = nearTo(row.lon, middle);
      const lat = onMap(row.lat);
      if (!seen.contains([lat, lon])) return;
      const at = map.project([lat, lon], zoom);
      points.push({ row: row, x: at.x, y: at.y, lon: lon });
    });
    this.drawMarks(grouped(points), zoom);
    this.drawUnder(points, middle);
  };

  Places.prototype.drawMarks = function (groups, zoom) {
    const self = this;
    const wanted = new Map();
    groups.forEach(function (group) {
      const alone = group.rows.length === 1;
      const turn = Math.round((group.lon - group.rows[0].lon) / 360);
      const key = group.rows[0].ref + ":" + turn + ":" + (alone ? 1 : group.rows.length + ":" + zoom);
      wanted.set(key, self.marks.get(key) || self.mark(group, alone));
    });
    this.marks.forEach(function (mark, key) {
      if (!wanted.has(key)) mark.remove();
    });
    wanted.forEach(function (mark, key) {
      if (!self.marks.has(key)) mark.addTo(self.map);
    });
    this.marks = wanted;
  };

  Places.prototype.mark = function (group, alone) {
    const self = this;
    const row = group.rows[0];
    const words = this.options.words;
    const kind = alone ? (row.cell ? "place-area" : "place-spot") : "place-many";
    const label = alone ? row.name : words.many.replace("%d", String(group.rows.length));
    const mark = L.marker([onMap(group.lat), group.lon], {
      icon: L.divIcon({ className: "place-mark " + kind, iconSize: [APART_PX, APART_PX], html: element("span", "", alone ? "" : String(group.rows.length)) }),
      keyboard: true,
      title: label,
      riseOnHover: true,
    });
    const open = function () {
      if (self.line.take([group.lat, group.lon], alone && !row.cell ? row.ref : "")) return;
      if (alone) self.openPlace(row, group.lon);
      else self.openMany(group);
    };
    mark.on("click", open);
    mark.on("add", function () {
      const button = mark.getElement();
      button.setAttribute("aria-label", alone ? self.said(row) : label);
      if (alone && row.language) button.setAttribute("lang", row.language);
      button.addEventListener("keydown", function (event) {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        open();
      });
    });
    return mark;
  };

  /** A mark's name for those who hear it. */
  Places.prototype.said = function (row) {
    const words = this.options.words;
    const parts = [row.name, row.nature, row.cell ? words.area : "", row.told ? words.told.replace("%d", String(row.told)) : ""];
    return parts.filter(Boolean).join(", ");
  };

  /** Areas and the lines of mirrors, under the marks. */
  Places.prototype.drawUnder = function (points, middle) {
    const under = this.under;
    under.clearLayers();
    const cells = new Map();
    points.forEach(function (point) {
      if (point.row.cell && cells.size < MOST_CELLS) cells.set(String(point.row.cell), point.row.cell);
    });
    cells.forEach(function (cell) {
      const west = nearTo((cell[1] + cell[3]) / 2, middle) - (cell[3] - cell[1]) / 2;
      const corners = [[cell[0], west], [cell[2], west + cell[3] - cell[1]]];
      L.rectangle(corners, { className: "place-cell", interactive: false }).addTo(under);
    });
    this.mirrors.forEach(function (mirror) {
      mirror.runs.forEach(function (run) {
        let last = middle;
        const line = run.map(function (spot) {
          last = nearTo(spot[1], last);
          return [spot[0], last];
        });
        L.polyline(line, { className: "mirror-line", interactive: false }).addTo(under);
      });
    });
  };

  /* ---------- what a mark opens ---------- */

  Places.prototype.openPlace = function (row, lon) {
    const self = this;
    const holder = element("div", "place-said", this.options.words.wait);
    holder.setAttribute("tabindex", "-1");
    const back = document.activeElement;
    this.popup.setLatLng([onMap(row.lat), lon]).setContent(holder).openOn(this.map);
    fetch(this.options.place.replace("REF", row.ref), { credentials: "same-origin" })
      .then(function (answer) {
        if (!answer.ok) throw new Error(String(answer.status));
        return answer.text();
      })
      .then(function (html) {
        holder.innerHTML = html; // from our own template, which escapes what people wrote
        holder.querySelectorAll("audio").forEach(function (sound) {
          sound.addEventListener("error", function () {
            sound.replaceWith(element("p", "place-by", self.options.words.unsounded));
          });
        });
      })
      .catch(function () {
        holder.textContent = self.options.words.fail;
      })
      .then(function () {
        self.popup.update();
        holder.focus({ preventScroll: true });
        self.map.once("popupclose", function () {
          if (back && back.isConnected && back !== document.body) back.focus({ preventScroll: true });
        });
      });
  };

  /** Nearer, as long as that takes the places apart; else their names to choose from. */
  Places.prototype.openMany = function (group) {
    const self = this;
    const bounds = L.latLngBounds(group.rows.map(function (row) {
      return [row.lat, nearTo(row.lon, group.lon)];
    }));
    const closer = Math.min(this.map.getBoundsZoom(bounds), CLOSEST_ZOOM);
    if (closer > this.map.getZoom()) {
      this.map.setView(bounds.getCenter(), closer);
      return;
    }
    const list = element("ul", "place-list");
    group.rows.slice(0, LISTED).forEach(function (row) {
      const button = element("button", "", row.name);
      button.type = "button";
      if (row.language) button.lang = row.language;
      button.addEventListener("click", function () {
        self.openPlace(row, group.lon);
      });
      list.appendChild(element("li")).appendChild(button);
    });
    this.popup.setLatLng([onMap(group.lat), group.lon]).setContent(list).openOn(this.map);
    list.querySelector("button").focus({ preventScroll: true });
  };

  /** A press on the ground between the marks: what is told near there is a search away. */
  Places.prototype.askNear = function (pressed) {
    const options = this.options;
    const at = pressed.wrap();
    const spot = [Math.max(-90, Math.min(90, at.lat)), at.lng].map(function (degrees) {
      return degrees.toFixed(4);
    });
    const list = element("ul", "place-list");
    NEAR_KM.forEach(function (km) {
      const link = element("a", "", options.words.near.replace("%d", String(km)));
      link.href = options.find + "?q=" + encodeURIComponent("near:" + spot.join(",") + "," + km + "km");
      list.appendChild(element("li")).appendChild(link);
    });
    this.popup.setLatLng(pressed).setContent(list).openOn(this.map);
  };

  /** Bring a place into view and open it: the list beside the map asks for it. */
  Places.prototype.show = function (ref) {
    const row = this.rows.find(function (each) {
      return each.ref === ref;
    });
    if (!row) return;
    const lon = nearTo(row.lon, this.map.getCenter().lng);
    if (row.cell) this.map.fitBounds([[row.cell[0], lon - (row.cell[3] - row.cell[1]) / 2], [row.cell[2], lon + (row.cell[3] - row.cell[1]) / 2]], { maxZoom: 12 });
    else this.map.setView([onMap(row.lat), lon], Math.max(this.map.getZoom(), 13));
    this.openPlace(row, lon);
  };

  /** The community's own layers, each to be put on or taken off; what they hold comes one after another, from below. */
  function drawLayers(map, options) {
    if (!options.layers.length) return;
    const control = L.control.layers({}, {}, { collapsed: true, position: "bottomleft" }).addTo(map);
    const toggle = control.getContainer().querySelector(".leaflet-control-layers-toggle");
    toggle.title = options.words.layers;
    toggle.setAttribute("aria-label", options.words.layers);
    options.layers.reduce(function (before, layer, index) {
      const pane = map.createPane("layer" + index);
      pane.style.zIndex = String(401 + index); // over the land (400) and under the marks (600)
      const drawn = L.geoJSON(null, {
        pane: pane,
        style: { className: "own-layer own-layer-" + (index % 4), pane: "layer" + index },
        pointToLayer: function (feature, at) {
          return L.circleMarker(at, { radius: 5, className: "own-layer own-layer-" + (index % 4), pane: "layer" + index });
        },
        onEachFeature: function (feature, shape) {
          const name = feature.properties.name || feature.properties.title;
          if (name) shape.bindTooltip(element("span", "", String(name)), { sticky: true });
        },
      }).addTo(map);
      control.addOverlay(drawn, element("span", "", layer.title).outerHTML);
      return before
        .then(function () {
          return fetch(layer.url, { credentials: "same-origin" });
        })
        .then(function (answer) {
          return answer.ok ? answer.json() : { type: "FeatureCollection", features: [] };
        })
        .then(function (held) {
          drawn.addData(held);
        })
        .catch(function () {
          control.removeLayer(drawn);
        });
    }, Promise.resolve());
  }

  window.underskyPlaces = function (map, options) {
    const places = new Places(map, options);
    places.line = window.underskyLine(map, options);
    map.on("click", function (event) {
      if (!places.line.take(event.latlng, "")) places.askNear(event.latlng);
    });
    places.load();
    drawLayers(map, options);
    window.addEventListener("message", function (event) {
      if (event.origin === location.origin && event.data && event.data.place) places.show(event.data.place);
    });
  };
})();
