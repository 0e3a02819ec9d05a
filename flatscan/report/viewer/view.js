// Where a place on the floor lies on the screen: millimetres (y up) to pixels (y down), with zoom and shift.

const MOST_ZOOM = 40;

/** A view of the room's box [left, bottom, right, top] in mm; sizes in CSS pixels. */
class View {
  constructor(box) {
    this.box = box;
    this.zoom = 1;
    this.width = 1;
    this.height = 1;
    this.middle = [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];
  }

  /** Space around the room for the tape figures: left, top, right, bottom. */
  static get margin() {
    return [46, 16, 20, 30];
  }

  /** Pixels per mm when the whole room is shown. */
  get wholeScale() {
    const [left, top, right, bottom] = View.margin;
    const wide = Math.max(1, this.width - left - right);
    const deep = Math.max(1, this.height - top - bottom);
    return Math.min(wide / (this.box[2] - this.box[0]), deep / (this.box[3] - this.box[1]));
  }

  get scale() {
    return this.wholeScale * this.zoom;
  }

  /** The pixel that shows the middle of the view. */
  get centre() {
    const [left, top, right, bottom] = View.margin;
    return [(this.width + left - right) / 2, (this.height + top - bottom) / 2];
  }

  toScreen(x, y) {
    const [cx, cy] = this.centre;
    return [cx + (x - this.middle[0]) * this.scale, cy - (y - this.middle[1]) * this.scale];
  }

  toFloor(px, py) {
    const [cx, cy] = this.centre;
    return [this.middle[0] + (px - cx) / this.scale, this.middle[1] - (py - cy) / this.scale];
  }

  /** Whether a place is within what is seen: what is not has no name at the border either. */
  shows([x, y]) {
    const [px, py] = this.toScreen(x, y);
    return px >= 0 && py >= 0 && px <= this.width && py <= this.height;
  }

  /** Zooms by a factor so that the floor beneath the pixel stays there. */
  zoomAt(px, py, factor) {
    const before = this.toFloor(px, py);
    this.zoom = Math.min(MOST_ZOOM, Math.max(1, this.zoom * factor));
    const after = this.toFloor(px, py);
    this.middle = [this.middle[0] + before[0] - after[0], this.middle[1] + before[1] - after[1]];
    this.hold();
  }

  panBy(dx, dy) {
    this.middle = [this.middle[0] - dx / this.scale, this.middle[1] + dy / this.scale];
    this.hold();
  }

  whole() {
    this.zoom = 1;
    this.hold();
  }

  /** Brings a place into the middle where it lies near the edge or outside. */
  reveal(x, y) {
    const [px, py] = this.toScreen(x, y);
    const near = Math.min(this.width, this.height) / 8;
    if (px < near || py < near || px > this.width - near || py > this.height - near) this.middle = [x, y];
    this.hold();
  }

  /** Keeps the room on the screen: all of it, or no way past its sides. */
  hold() {
    for (const axis of [0, 1]) {
      const [low, high] = [this.box[axis], this.box[axis + 2]];
      const half = (axis === 0 ? this.width : this.height) / 2 / this.scale;
      const spare = (high - low) / 2 - half * 0.7;
      const centre = (low + high) / 2;
      const reach = this.zoom === 1 ? 0 : Math.max(0, spare);
      this.middle[axis] = Math.min(centre + reach, Math.max(centre - reach, this.middle[axis]));
    }
  }
}
