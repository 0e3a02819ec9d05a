// Line patterns, so that nothing is told by colour alone.

const HATCH_STEP_PX = 9;

/** A tile of slanted lines: up to the right, or (``back``) down. */
function hatchTile(ink, ground, back) {
  const tile = emptyCanvas(HATCH_STEP_PX, HATCH_STEP_PX);
  const pen = tile.getContext("2d");
  if (ground) {
    pen.fillStyle = ground;
    pen.fillRect(0, 0, HATCH_STEP_PX, HATCH_STEP_PX);
  }
  pen.strokeStyle = ink;
  pen.lineWidth = 1.6;
  pen.beginPath();
  for (const shift of [-HATCH_STEP_PX, 0, HATCH_STEP_PX]) {
    pen.moveTo(shift, back ? 0 : HATCH_STEP_PX);
    pen.lineTo(shift + HATCH_STEP_PX, back ? HATCH_STEP_PX : 0);
  }
  pen.stroke();
  return tile;
}

let hatchSheet = null; // one for all, since it is as large as the map

/** Fills, with slanted lines of the screen's own size, what the mask covers in the rectangle. */
function drawHatched(pen, mask, rect, tile) {
  const { canvas } = pen;
  hatchSheet ??= emptyCanvas(1, 1);
  const sheet = hatchSheet;
  // Setting the size wipes it, and all that was set on it.
  sheet.width = canvas.width;
  sheet.height = canvas.height;
  const draft = sheet.getContext("2d");
  draft.setTransform(pen.getTransform());
  draft.imageSmoothingEnabled = false;
  draft.drawImage(mask, ...rect);
  draft.globalCompositeOperation = "source-in";
  draft.fillStyle = draft.createPattern(tile, "repeat");
  draft.fillRect(0, 0, canvas.width, canvas.height);
  pen.save();
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.drawImage(sheet, 0, 0);
  pen.restore();
}
