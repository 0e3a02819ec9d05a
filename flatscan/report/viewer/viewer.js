// Puts everything together: reads the page's data, builds the controls, and redraws what a change touches.

const LEAST_MAP_PX = 240;

function jsonOf(id) {
  return JSON.parse(document.getElementById(id).textContent);
}

function byId(id) {
  return document.getElementById(id);
}

class Viewer {
  constructor(data, looks) {
    this.data = data;
    this.looks = looks;
    this.layers = new Layers(data, looks);
    this.words = new Words(looks.units === "imperial");
    this.say = speaker();
    this.root = byId("viewer");
    this.choice = "height";
    this.shown = null;
    this.pinned = null;
    this.asked = 0;
    this.photo = photoOf(data);
    this.levelledFloor = null;
    this.laying = null;
    this.lips = lipsOf(data);
    this.scene = {
      words: this.words, show: {}, lips: this.lips, edge: { ends: null, laid: null }, cross: null, marked: null,
      painted: null, levelled: null, wipe: 0, photo: null, unseen: null, drawn: () => this.laying?.edge?.placeGrips(),
    };
  }

  async start() {
    const names = ["height", "seen", "sigma", ...(this.data.edge.modes ? this.modeNames() : [])];
    await Promise.all(names.map((name) => this.layers.grid(name)));
    const [heights, seen, sigma] = await Promise.all(names.slice(0, 3).map((name) => this.layers.grid(name)));
    const modes = await Promise.all((this.data.edge.modes?.layers ?? []).map((name) => this.layers.grid(name)));
    const rest = this.data.edge.modes?.rest ? await this.layers.grid(this.data.edge.modes.rest) : null;
    Object.assign(this, { heights, seen, sigma, doubts: { sigma, modes, rest } });
    this.scene.unseen = unseenMask(seen);
    buildChoices(this);
    document.documentElement.classList.add("live");
    this.root.hidden = false;
    this.map = new FloorMap(byId("map").querySelector("canvas"), this.data, this.scene);
    this.resize();
    this.laying = new Laying(this);
    this.watch();
    watchPaper();
    await this.showLayer();
    this.laying.lay({ settled: true });
    this.map.drawNow();
    this.root.dataset.readyMs = performance.now().toFixed(0);
    // What is not seen yet is made ready while nobody waits.
    setTimeout(() => this.prepare(), 50);
  }

  modeNames() {
    return [...this.data.edge.modes.layers, ...(this.data.edge.modes.rest ? [this.data.edge.modes.rest] : [])];
  }

  /** The levelled floor and the gap at each place: for the slider, the section and the place pointed at. */
  async prepare() {
    this.levelledFloor = await this.layers.levelled();
    this.work = this.levelledFloor ? await this.layers.grid("after") : null;
    this.gapName ??= this.usualGap();
    await this.readGap();
    await this.showLayer();
    this.laying.lay({ settled: true });
    this.root.dataset.prepared = "true";
  }

  resize() {
    const frame = byId("map");
    const box = this.map.view.box;
    const [left, top, right, bottom] = View.margin;
    const wide = frame.clientWidth - left - right;
    const deep = (wide * (box[3] - box[1])) / (box[2] - box[0]) + top + bottom;
    frame.style.height = `${Math.round(Math.min(Math.max(deep, LEAST_MAP_PX), window.innerHeight * 0.78))}px`;
    this.map.fit();
  }

  watch() {
    this.watchControls();
    const frame = byId("map");
    const redraw = watchMap(frame, this.map, {
      onHover: (at) => this.pointAt(at ?? this.pinned, false),
      onTap: (at) => {
        this.pinned = at;
        this.pointAt(at, true);
      },
    });
    const zoom = (factor) => {
      const [px, py] = this.pinned ? this.map.view.toScreen(...this.pinned) : this.map.view.centre;
      this.map.view.zoomAt(px, py, factor);
      redraw();
    };
    const whole = () => {
      this.map.view.whole();
      redraw();
    };
    watchKeys(frame, this.map, { onStep: (way, far) => this.stepCross(way, far), onZoom: zoom, onWhole: whole });
    byId("zoom-in").addEventListener("click", () => zoom(1.6));
    byId("zoom-out").addEventListener("click", () => zoom(1 / 1.6));
    byId("zoom-whole").addEventListener("click", whole);
    watchShowButtons(this.root, (spot) => this.showSpot(spot));
    new ResizeObserver(() => {
      this.resize();
      this.laying.draw();
    }).observe(this.root);
  }

  watchControls() {
    this.root.addEventListener("change", (event) => {
      const { name, value, checked, id } = event.target;
      if (name === "layer") this.choice = value;
      if (name === "gap") this.gapShown = value;
      if (name === "layer" || name === "gap") this.showLayer();
      if (name === "mark") {
        this.scene.show[value] = checked;
        this.drawKey();
        this.map.draw();
      }
      if (name === "units") this.readIn(value === "imperial");
      if (name === "edge") this.laying.choose(value);
      if (id.startsWith("typed-")) this.laying.type(id);
    });
    byId("wipe").addEventListener("input", () => {
      this.scene.wipe = Number(byId("wipe").value) / 100;
      this.map.draw();
    });
  }

  readIn(imperial) {
    this.words = new Words(imperial);
    this.scene.words = this.words;
    nameLengths(this);
    this.drawKey();
    this.laying.lay({ settled: false });
    this.pointAt(this.pinned, false);
    this.map.draw();
  }

  /** Name of the layer that the two rows of choices ask for. */
  layerName() {
    return this.choice === "gaps" ? this.gapShown : this.choice;
  }

  async showLayer() {
    const name = this.layerName();
    this.asked += 1;
    const asked = this.asked;
    byId("gap-choice").hidden = this.choice !== "gaps";
    this.scene.photo = name === "photo" ? this.photo : null;
    if (name !== "photo") {
      const shown = await this.layers.picture(name);
      const levelled = await this.levelledLook(name);
      // Another choice may have been made meanwhile.
      if (asked !== this.asked) return;
      this.shown = shown;
      this.scene.painted = shown.painted;
      this.scene.levelled = levelled;
    }
    byId("wipe-row").hidden = name === "photo" || this.scene.levelled === null;
    this.root.dataset.layer = name;
    if (this.gapName) {
      // A place tells the gap that the map shows, else the one that has a limit.
      this.gapName = name.startsWith("gap_") ? name : this.usualGap();
      await this.readGap();
      if (asked !== this.asked) return;
    }
    this.pointAt(this.pinned, false);
    this.drawKey();
    this.map.draw();
  }

  /** The layer of gaps that a limit names, else the shortest edge's. */
  usualGap() {
    const gaps = this.layers.gaps();
    return (gaps.find((layer) => layer.limit_mm) ?? gaps[0])?.name;
  }

  /** The same layer after the planned work: of heights and of shares of the limit. */
  async levelledLook(name) {
    if (name === "height") return this.levelledFloor?.painted ?? null;
    if (name === "share_before" && this.layers.has("share_after")) return (await this.layers.picture("share_after")).painted;
    return null;
  }

  async readGap() {
    if (!this.gapName) return;
    const layer = this.layers.byName.get(this.gapName);
    const doubt = this.gapName.replace("gap_", "gap_u_");
    this.gap = {
      layer,
      grid: await this.layers.grid(this.gapName),
      doubt: this.layers.has(doubt) ? await this.layers.grid(doubt) : null,
    };
  }

  drawKey() {
    const entries = this.choice === "photo" ? [] : layerEntries(this.shown, this.looks, this.words);
    const holes = this.scene.unseen !== null && this.choice !== "photo";
    byId("key").replaceChildren(...entries, ...markEntries(this, holes));
  }

  pointAt(at, spoken) {
    this.scene.cross = at;
    const text = at ? placeText(at, this.valuesAt(at), this.words) : "Point at a place, or tap it, to read it.";
    byId("reading").textContent = text;
    if (spoken) this.say(text);
    this.map.draw();
  }

  valuesAt(at) {
    const sigma = valueAt(this.sigma, at);
    return {
      height: valueAt(this.heights, at),
      expanded: COVERAGE_K * Math.hypot(sigma, this.data.edge.systematic_mm),
      inside: valueAt(this.seen, at) > 0,
      site: siteNear(this.data.on_site, at, SITE_NEAR_PX / this.map.view.scale),
      work: this.work ? valueAt(this.work, at) : NaN,
      gap: this.gap && this.gapAt(at),
    };
  }

  /** The gap of the map at a place; of a judged one's own cell the very figures of the table. */
  gapAt(at) {
    const { layer, grid, doubt } = this.gap;
    const cell = nearestCell(grid, at);
    const own = [...this.data.findings, ...this.data.judged].find(
      (one) => one.edge_mm === layer.edge_mm && cell >= 0 && nearestCell(grid, one.at) === cell,
    );
    if (own) return { layer, value: own.value_mm, expanded: COVERAGE_K * own.u_mm };
    return { layer, value: valueAt(grid, at), expanded: doubt ? COVERAGE_K * valueAt(doubt, at) : NaN };
  }

  stepCross(way, far) {
    const step = this.words.steps()[far ? 1 : 0] * 5;
    const from = this.pinned ?? this.map.view.toFloor(...this.map.view.centre);
    const box = this.map.view.box;
    this.pinned = [0, 1].map((axis) => Math.min(box[axis + 2], Math.max(box[axis], from[axis] + way[axis] * step)));
    if (this.map.view.zoom > 1) this.map.view.reveal(...this.pinned);
    this.pointAt(this.pinned, true);
  }

  showSpot(spot) {
    this.scene.marked = spot;
    if (spot.contacts) this.laying.touched();
    if (spot.contacts) this.laying.edge.over(spot.contacts, this.laying.lengthOf(spot.edge_mm));
    if (this.map.view.zoom > 1) this.map.view.reveal(...spot.at);
    this.pinned = spot.at;
    this.pointAt(spot.at, true);
  }
}

/** Solid where floor was not seen; null where all was. */
function unseenMask(seen) {
  const wanted = { ...seen, values: seen.values.map((value) => (value === 1 ? 1 : NaN)) };
  if (!wanted.values.some((value) => value === 1)) return null;
  return { grid: seen, picture: paint(wanted, ramp(["#000000"], 0, 1)).picture };
}

/** Lips that are over or not decided, those first that are over and large. */
function lipsOf(data) {
  const found = data.joints.map((joint) => joint.lip).filter((lip) => lip && ["over", "not_decided"].includes(lip.word));
  return found.sort((a, b) => (b.word === "over") - (a.word === "over") || b.value - a.value);
}

function photoOf(data) {
  const image = byId("floor-photo");
  return data.photo && image ? { ...data.photo, image } : null;
}

if (canUnpack() && byId("floor-data")) {
  const viewer = new Viewer(jsonOf("floor-data"), jsonOf("floor-looks"));
  viewer.start().catch((error) => {
    // The still picture says the same: better that than half a map.
    document.documentElement.classList.remove("live");
    byId("viewer").hidden = true;
    console.error(error);
  });
}
