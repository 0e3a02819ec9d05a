// Which colour a value has, and the key that says so. The colours themselves come with the page's data ("looks"):
// they have their home beside the drawn pictures.

/** "#rrggbb" as one number in the byte order of canvas pixels (red first). */
function pixelOf(hex) {
  const n = parseInt(hex.slice(1), 16);
  return ((255 << 24) | ((n & 255) << 16) | (n & 0xff00) | (n >> 16)) >>> 0;
}

/** The smallest round number that is not below ``wanted``. */
function niceAbove(wanted) {
  const power = 10 ** Math.floor(Math.log10(Math.max(wanted, 1e-6)));
  return [1, 1.5, 2, 3, 4, 5, 6, 8, 10].find((nice) => nice * power >= wanted * (1 - 1e-9)) * power;
}

/** A smooth ramp from ``low`` to ``high``; what lies beyond has the end's colour. */
function ramp(colours, low, high) {
  return { kind: "ramp", colours, low, high, limit: null };
}

/** Steps: value k has the colour of the last bound that is not above it. */
function bins(colours, bounds, limit) {
  return { kind: "bins", colours, bounds, limit };
}

/** How a layer is coloured. ``largest``: its largest size, where no fixed scale is given. */
function lookOf(layer, looks, largest) {
  if (layer.name === "height") return ramp(looks.heights, -looks.height_scale_mm, looks.height_scale_mm);
  if (layer.kind === "signed") {
    const most = niceAbove(Math.max(largest, 1));
    return ramp(looks.work, -most, most);
  }
  const limit = layer.kind === "share" ? 1 : layer.limit_mm;
  if (limit) {
    const { shares } = looks;
    const bounds = shares.map((one) => one.least * limit);
    return bins(shares.map((one) => one.colour), bounds, shares.find((one) => one.over).least * limit);
  }
  return ramp(looks.sizes, 0, niceAbove(Math.max(largest, 0.1)));
}

/** A ramp over just the sizes there are, in whole steps, so that small differences are seen. */
function closeLook(grid, looks) {
  let [low, high] = [Infinity, 0];
  for (const value of grid.values) {
    if (value < low) low = value;
    if (value > high) high = value;
  }
  if (low > high) return ramp(looks.sizes, 0, 1);
  // Never finer than the figures at the key's bar, which has four parts.
  const step = niceAbove(Math.max((high - low) / 3, 0.1));
  const first = Math.floor(low / step) * step;
  return ramp(looks.sizes, first, first + 4 * step);
}

/** Index into a look's colours. */
function stepOf(look, value) {
  if (look.kind === "ramp") {
    const at = ((value - look.low) / (look.high - look.low)) * (look.colours.length - 1);
    return Math.min(look.colours.length - 1, Math.max(0, Math.round(at)));
  }
  let step = 0;
  while (step + 1 < look.bounds.length && value >= look.bounds[step + 1]) step += 1;
  return step;
}

function emptyCanvas(width, height) {
  const canvas = document.createElement("canvas");
  canvas.width = width;
  canvas.height = height;
  return canvas;
}

/**
 * A grid as a picture, one pixel a cell, top row the far wall; and another one that is solid where the value is over
 * the look's limit (null: nowhere). Unseen cells stay clear.
 */
function paint(grid, look) {
  const { rows, cols, values } = grid;
  const palette = Uint32Array.from(look.colours, pixelOf);
  const image = new ImageData(cols, rows);
  const pixels = new Uint32Array(image.data.buffer);
  const over = look.limit === null ? null : new ImageData(cols, rows);
  const overPixels = over && new Uint32Array(over.data.buffer);
  let anyOver = false;
  for (let row = 0; row < rows; row += 1) {
    let to = (rows - 1 - row) * cols;
    for (let i = row * cols; i < (row + 1) * cols; i += 1, to += 1) {
      const value = values[i];
      if (value !== value) continue; // NaN: not seen
      pixels[to] = palette[stepOf(look, value)];
      if (overPixels && value >= look.limit) {
        overPixels[to] = 0xff000000;
        anyOver = true;
      }
    }
  }
  return { grid, picture: canvasOf(image), over: anyOver ? canvasOf(over) : null };
}

function canvasOf(image) {
  const canvas = emptyCanvas(image.width, image.height);
  canvas.getContext("2d").putImageData(image, 0, 0);
  return canvas;
}

/** Largest size in a grid. */
function largestOf(grid) {
  let most = 0;
  for (const value of grid.values) if (Math.abs(value) > most) most = Math.abs(value);
  return most;
}
