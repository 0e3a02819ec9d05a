// Fingers, mouse and keys on the map and on the straightedge's grips.

const TAP_MOVE_PX = 6;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

/** Pans, pinches and zooms; tells where the pointer hovers (``onHover``) and where it tapped (``onTap``). */
function watchMap(element, map, { onHover, onTap }) {
  const down = new Map();
  let moved = 0;
  const place = (event) => {
    const box = element.getBoundingClientRect();
    return [event.clientX - box.left - element.clientLeft, event.clientY - box.top - element.clientTop];
  };
  const redraw = () => {
    // A page is scrolled with one finger over a map that shows everything; a map that is zoomed in takes it.
    element.classList.toggle("zoomed", map.view.zoom > 1);
    map.draw();
  };
  element.addEventListener("pointerdown", (event) => {
    if (event.target !== element && event.target !== map.canvas) return;
    down.set(event.pointerId, place(event));
    moved = down.size > 1 ? TAP_MOVE_PX + 1 : 0;
  });
  element.addEventListener("pointermove", (event) => {
    const now = place(event);
    const before = down.get(event.pointerId);
    if (!before) {
      if (event.pointerType === "mouse" && event.target === map.canvas) onHover(map.view.toFloor(...now));
      return;
    }
    moved += Math.hypot(now[0] - before[0], now[1] - before[1]);
    if (moved > TAP_MOVE_PX && !element.hasPointerCapture(event.pointerId)) element.setPointerCapture(event.pointerId);
    if (down.size === 1 && moved > TAP_MOVE_PX) map.view.panBy(now[0] - before[0], now[1] - before[1]);
    if (down.size === 2) {
      const other = [...down].find(([id]) => id !== event.pointerId)[1];
      const apart = (p) => Math.max(1, Math.hypot(p[0] - other[0], p[1] - other[1]));
      map.view.zoomAt((now[0] + other[0]) / 2, (now[1] + other[1]) / 2, apart(now) / apart(before));
      map.view.panBy((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
    }
    down.set(event.pointerId, now);
    redraw();
  });
  const up = (event) => {
    const tapped = down.size === 1 && down.has(event.pointerId) && moved <= TAP_MOVE_PX;
    down.delete(event.pointerId);
    if (tapped && event.type === "pointerup") onTap(map.view.toFloor(...place(event)));
  };
  element.addEventListener("pointerup", up);
  element.addEventListener("pointercancel", up);
  element.addEventListener("pointerleave", () => onHover(null));
  element.addEventListener("dblclick", (event) => {
    map.view.zoomAt(...place(event), 2);
    redraw();
  });
  // The wheel alone scrolls the page; with Ctrl (or two fingers on a touch pad) it zooms.
  element.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.metaKey) return;
    event.preventDefault();
    map.view.zoomAt(...place(event), Math.exp(-event.deltaY / 200));
    redraw();
  }, { passive: false });
  return redraw;
}

/** A grip that is dragged by pointer or moved by arrow keys; ``onMove`` takes a shift in floor mm. */
function watchGrip(grip, map, { onStart, onMove, onEnd, steps }) {
  let last = null;
  grip.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    grip.setPointerCapture(event.pointerId);
    last = [event.clientX, event.clientY];
    onStart();
    event.stopPropagation();
  });
  grip.addEventListener("pointermove", (event) => {
    if (!last) return;
    const scale = map.view.scale;
    onMove((event.clientX - last[0]) / scale, (last[1] - event.clientY) / scale);
    last = [event.clientX, event.clientY];
  });
  const up = () => {
    if (last) onEnd();
    last = null;
  };
  grip.addEventListener("pointerup", up);
  grip.addEventListener("pointercancel", up);
  grip.addEventListener("keydown", (event) => {
    const way = ARROWS[event.key];
    if (!way || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    event.stopPropagation();
    const step = steps()[event.shiftKey ? 1 : 0];
    onStart();
    onMove(way[0] * step, way[1] * step);
    onEnd();
  });
}

/** Keys on the map itself: arrows move the cross, + and − zoom, 0 shows the whole room. */
function watchKeys(element, map, { onStep, onZoom, onWhole }) {
  element.addEventListener("keydown", (event) => {
    if (event.target !== element || event.ctrlKey || event.altKey || event.metaKey) return;
    const way = ARROWS[event.key];
    if (way) onStep(way, event.shiftKey);
    else if (event.key === "+" || event.key === "=") onZoom(1.5);
    else if (event.key === "-") onZoom(1 / 1.5);
    else if (event.key === "0" || event.key === "Home") onWhole();
    else return;
    event.preventDefault();
  });
}
