// The map: one canvas, drawn again whenever something changes. Painted layers are pictures that are only moved.

const UNSEEN_GROUND = "#d2d2d2";

class FloorMap {
  /** ``scene`` is what to draw; others change it and call ``draw``. */
  constructor(canvas, data, scene) {
    this.canvas = canvas;
    this.data = data;
    this.scene = scene;
    this.view = new View(roomBox(data));
    this.tiles = { over: hatchTile("rgba(28,28,28,0.75)", null, false), unseen: hatchTile(SOFT_INK, UNSEEN_GROUND, true) };
    this.wanted = false;
  }

  /** Takes the size that the page gives it. */
  fit() {
    const { clientWidth, clientHeight } = this.canvas;
    const dots = window.devicePixelRatio || 1;
    this.canvas.width = Math.round(clientWidth * dots);
    this.canvas.height = Math.round(clientHeight * dots);
    this.view.width = Math.max(1, clientWidth);
    this.view.height = Math.max(1, clientHeight);
    this.view.hold();
    this.drawNow();
  }

  /** Draws before the next frame, once however often it is asked for. */
  draw() {
    if (this.wanted) return;
    this.wanted = true;
    requestAnimationFrame(() => this.drawNow());
  }

  drawNow() {
    this.wanted = false;
    const { view, scene, data } = this;
    const pen = this.canvas.getContext("2d");
    const dots = window.devicePixelRatio || 1;
    pen.setTransform(dots, 0, 0, dots, 0, 0);
    pen.clearRect(0, 0, view.width, view.height);
    this.drawColours(pen);
    if (scene.unseen && !scene.photo) drawHatched(pen, scene.unseen.picture, this.rectOf(scene.unseen.grid), this.tiles.unseen);
    drawGrid(pen, view, scene.words);
    if (scene.show.zones) drawZones(pen, view, data.zones);
    drawTape(pen, view, data.tape);
    drawWalls(pen, view, data);
    drawCorner(pen, view);
    if (scene.show.joints) drawJoints(pen, view, data.joints);
    if (scene.show.areas) drawAreas(pen, view, data.areas);
    if (scene.show.site) drawSite(pen, view, data.on_site);
    if (scene.show.worst) drawWorst(pen, view, data.findings);
    if (scene.show.lips) drawLips(pen, view, scene.lips);
    this.drawEdge(pen);
    if (scene.marked) this.drawMarked(pen, scene.marked);
    if (scene.cross) this.drawCross(pen, scene.cross);
    // For programs, such as the tests: pixel = x0 + scale x, y0 - scale y.
    this.canvas.dataset.view = [...view.toScreen(0, 0), view.scale].join(" ");
    scene.drawn();
  }

  /** The chosen layer; the levelled floor to the left of the wipe. */
  drawColours(pen) {
    const { scene, view } = this;
    if (scene.photo) {
      pen.imageSmoothingEnabled = true;
      this.drawPhoto(pen, scene.photo);
      return;
    }
    if (!scene.painted) return;
    this.drawPainted(pen, scene.painted);
    if (!scene.levelled || scene.wipe <= 0) return;
    const x = this.wipeX();
    pen.save();
    pen.beginPath();
    pen.rect(0, 0, x, view.height);
    pen.clip();
    pen.clearRect(0, 0, x, view.height);
    this.drawPainted(pen, scene.levelled);
    pen.restore();
    if (scene.wipe >= 1) return;
    pen.beginPath();
    pen.moveTo(x, 0);
    pen.lineTo(x, view.height);
    strokeTwice(pen, 1.5, [], INK, 3);
    plate(pen, view, "as planned", x - 82, 12, FILL_INK, true);
    plate(pen, view, "as it is", x + 6, 12, INK, true);
  }

  wipeX() {
    const left = this.view.toScreen(this.view.box[0], 0)[0];
    const right = this.view.toScreen(this.view.box[2], 0)[0];
    return left + (right - left) * this.scene.wipe;
  }

  drawPainted(pen, painted) {
    const rect = this.rectOf(painted.grid);
    // Cells stay squares where they are larger than a pixel.
    pen.imageSmoothingEnabled = rect[2] < painted.picture.width;
    pen.drawImage(painted.picture, ...rect);
    if (painted.over) drawHatched(pen, painted.over, rect, this.tiles.over);
  }

  /** A grid's place on the screen: left, top, width, height. */
  rectOf(grid) {
    const [left, top] = this.view.toScreen(grid.originMm[0], grid.originMm[1] + grid.rows * grid.cellMm);
    return [left, top, grid.cols * grid.cellMm * this.view.scale, grid.rows * grid.cellMm * this.view.scale];
  }

  /** The picture, cut to the part that shows the floor. */
  drawPhoto(pen, photo) {
    const [x0, y0] = photo.origin_mm;
    const [wide, deep] = [photo.width * photo.mm_per_pixel, photo.height * photo.mm_per_pixel];
    const [left, top] = this.view.toScreen(x0, y0 + deep);
    pen.save();
    if (this.data.outline.length) {
      trace(pen, this.view, this.data.outline[0], true);
      pen.clip();
    }
    pen.drawImage(photo.image, left, top, wide * this.view.scale, deep * this.view.scale);
    pen.restore();
  }

  /** The straightedge as it lies, where it touches, and the deepest place. */
  drawEdge(pen) {
    const { view } = this;
    const { ends, laid } = this.scene.edge;
    if (!ends) return;
    trace(pen, view, ends, false);
    strokeTwice(pen, 5, [], "#ffd23f", 0);
    trace(pen, view, ends, false);
    strokeTwice(pen, 1.6, [], INK, 0);
    for (const place of ends) {
      const [px, py] = view.toScreen(...place);
      pen.fillStyle = INK;
      pen.fillRect(px - 2.5, py - 2.5, 5, 5);
    }
    if (!laid) return;
    laid.contacts.forEach((place) => dot(pen, view, place, 5));
    const [px, py] = view.toScreen(...laid.at);
    polygon(pen, [[px - 7, py - 6], [px + 7, py - 6], [px, py + 7]]);
    pen.fillStyle = "#ffd23f";
    pen.fill();
    pen.strokeStyle = INK;
    pen.lineWidth = 1.6;
    pen.stroke();
  }

  drawMarked(pen, marked) {
    const [px, py] = this.view.toScreen(...marked.at);
    for (const [radius, width, ink] of [[17, 6, "#fff"], [17, 3, "#b3261e"]]) {
      pen.beginPath();
      pen.arc(px, py, radius, 0, 2 * Math.PI);
      pen.lineWidth = width;
      pen.strokeStyle = ink;
      pen.stroke();
    }
    const lettered = this.scene.show.worst && this.data.findings.some(({ label }) => label === marked.label);
    if (marked.label && !lettered && this.view.shows(marked.at)) plate(pen, this.view, marked.label, px + 22, py, INK, true);
  }

  drawCross(pen, at) {
    const [px, py] = this.view.toScreen(...at);
    for (const [ink, width] of [["#fff", 4], [INK, 1.6]]) {
      pen.strokeStyle = ink;
      pen.lineWidth = width;
      pen.beginPath();
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        pen.moveTo(px + 4 * dx, py + 4 * dy);
        pen.lineTo(px + 14 * dx, py + 14 * dy);
      }
      pen.stroke();
    }
  }
}

/** Bounding box of walls and cells: left, bottom, right, top. */
function roomBox(data) {
  const [x0, y0] = data.origin_mm;
  const corners = [...data.outline.flat(), ...data.tape];
  const cells = [[x0, y0], [x0 + data.cols * data.cell_mm, y0 + data.rows * data.cell_mm]];
  const points = corners.length ? corners : cells;
  const along = (axis) => points.map((place) => place[axis]);
  return [Math.min(...along(0)), Math.min(...along(1)), Math.max(...along(0)), Math.max(...along(1))];
}
