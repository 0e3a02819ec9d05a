// Turns a packed layer of the page's data back into numbers.
//
// How it is packed: flatscan/report/viewer/layer.py.

/** Whether this browser can inflate; without it the page keeps its still picture. */
function canUnpack() {
  return typeof DecompressionStream === "function";
}

/** Bytes of a base64 text. */
function bytesOf(base64) {
  if (typeof Uint8Array.fromBase64 === "function") return Uint8Array.fromBase64(base64);
  const text = atob(base64);
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i += 1) bytes[i] = text.charCodeAt(i);
  return bytes;
}

/** The bytes a raw deflate stream stands for. */
async function inflated(bytes) {
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/** Unsigned numbers from byte planes, before the differences are undone. */
function joined(bytes, bits, count) {
  const planes = bits / 8;
  if (bytes.length !== count * planes) throw new Error(`a layer of ${count} cells holds ${bytes.length} bytes`);
  if (planes === 1) return bytes;
  const whole = planes === 2 ? new Uint16Array(count) : new Uint32Array(count);
  for (let plane = 0; plane < planes; plane += 1) {
    const from = plane * count;
    for (let i = 0; i < count; i += 1) whole[i] |= bytes[from + i] << (8 * plane);
  }
  return whole;
}

/** Undoes the differences in place; the typed array wraps around by itself. */
function summed(whole, rows, cols) {
  for (let row = 0; row < rows; row += 1) {
    const start = row * cols;
    if (row > 0) whole[start] += whole[start - cols];
    for (let i = start + 1; i < start + cols; i += 1) whole[i] += whole[i - 1];
  }
  return whole;
}

/**
 * A layer as a grid: {rows, cols, cellMm, originMm, values}; values is a Float32Array, row 0 at the bottom wall,
 * NaN where there is nothing.
 */
async function unpackLayer(layer, originMm) {
  const { rows, cols, bits, scale, offset, nodata } = layer;
  const whole = summed(joined(await inflated(bytesOf(layer.data)), bits, rows * cols), rows, cols);
  const values = new Float32Array(rows * cols);
  for (let i = 0; i < values.length; i += 1) values[i] = whole[i] === nodata ? NaN : offset + scale * whole[i];
  return { rows, cols, cellMm: layer.cell_mm, originMm, values };
}
