// The layers of the page's data: unpacked when they are first asked for, painted once.

class Layers {
  constructor(data, looks) {
    this.data = data;
    this.looks = looks;
    this.byName = new Map(data.layers.map((layer) => [layer.name, layer]));
    this.grids = new Map();
    this.pictures = new Map();
  }

  has(name) {
    return this.byName.has(name);
  }

  /** A promise of the layer's grid. */
  grid(name) {
    if (!this.grids.has(name)) this.grids.set(name, unpackLayer(this.byName.get(name), this.data.origin_mm));
    return this.grids.get(name);
  }

  /** A promise of {layer, look, painted, grid}. */
  picture(name) {
    if (!this.pictures.has(name)) this.pictures.set(name, this.painted(name));
    return this.pictures.get(name);
  }

  async painted(name) {
    const layer = this.byName.get(name);
    const grid = name === "sigma" ? this.plusMinus(await this.grid(name)) : await this.grid(name);
    const look = name === "sigma" ? closeLook(grid, this.looks) : lookOf(layer, this.looks, largestOf(grid));
    return { layer, look, grid, painted: paint(grid, look) };
  }

  /** The ± of a height: twice its standard uncertainty, slow bends included. */
  plusMinus(sigma) {
    const slow = this.data.edge.systematic_mm;
    return { ...sigma, values: sigma.values.map((value) => COVERAGE_K * Math.hypot(value, slow)) };
  }

  /** The levelled floor: {grid, painted, look}; null where the plan changes nothing. */
  levelled() {
    if (!this.levelledFloor) this.levelledFloor = this.madeLevelled();
    return this.levelledFloor;
  }

  async madeLevelled() {
    if (!this.has("after")) return null;
    const [height, after] = [await this.picture("height"), await this.grid("after")];
    if (largestOf(after) === 0) return null;
    const values = new Float32Array(height.grid.values.length);
    for (let i = 0; i < values.length; i += 1) {
      const work = after.values[i];
      values[i] = height.grid.values[i] + (work === work ? work : 0);
    }
    const grid = { ...height.grid, values };
    return { grid, look: height.look, painted: paint(grid, height.look) };
  }

  /** Names of the gap layers with their edge lengths, short before long. */
  gaps() {
    return this.data.layers.filter((layer) => /^gap_\d/.test(layer.name)).sort((a, b) => a.edge_mm - b.edge_mm);
  }
}
