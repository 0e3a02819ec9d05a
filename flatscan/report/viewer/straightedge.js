// The straightedge on the map: its two ends, its length, and the grips that move it.

const GRIP_OUT_PX = 24; // a grip lies beyond its end, so that the finger does not cover it
const GRIP_BESIDE_PX = 34;
const HALF_GRIP_PX = 22;

class Straightedge {
  /** ``ends``: [P, Q] in floor mm; ``lengthMm``: null for as long as it is drawn; ``onTouch``: a hand took it. */
  constructor(map, ends, lengthMm, onChange, onTouch) {
    this.map = map;
    this.ends = ends;
    this.lengthMm = lengthMm;
    this.onChange = onChange;
    this.wanted = ends;
    this.grips = ["grip-p", "grip-q", "grip-both"].map((id) => document.getElementById(id));
    const steps = () => map.scene.words.steps();
    this.grips.forEach((grip, which) => {
      watchGrip(grip, map, {
        onStart: () => {
          onTouch();
          this.wanted = this.ends.map((place) => [...place]);
        },
        onMove: (dx, dy) => this.shift(which, dx, dy),
        onEnd: () => this.settle(which),
        steps,
      });
      grip.addEventListener("focus", () => {
        if (grip.matches(":focus-visible")) this.reveal(which);
      });
    });
  }

  /** Moves P (0), Q (1) or both (2) by mm. */
  shift(which, dx, dy) {
    for (const i of which === 2 ? [0, 1] : [which]) {
      this.wanted[i] = [this.wanted[i][0] + dx, this.wanted[i][1] + dy];
    }
    this.lay(this.wanted, which === 0 ? 1 : 0);
  }

  /** Lays it to two places; of a fixed length from the one that stays. */
  lay(wanted, stays = 0) {
    let [p, q] = wanted.map((place) => this.held(place));
    if (this.lengthMm !== null) {
      const [from, to] = stays === 0 ? [p, q] : [q, p];
      const apart = Math.hypot(to[0] - from[0], to[1] - from[1]);
      const way = apart > 0 ? [(to[0] - from[0]) / apart, (to[1] - from[1]) / apart] : [1, 0];
      const end = [from[0] + way[0] * this.lengthMm, from[1] + way[1] * this.lengthMm];
      [p, q] = stays === 0 ? [from, end] : [end, from];
    }
    if (Math.hypot(q[0] - p[0], q[1] - p[1]) < 1) return;
    this.ends = [p, q];
    this.onChange({ settled: false });
  }

  /** No end is lost outside the room. */
  held(place) {
    const box = this.map.view.box;
    return [0, 1].map((axis) => Math.min(box[axis + 2], Math.max(box[axis], place[axis])));
  }

  settle(which) {
    this.onChange({ settled: true });
    this.reveal(which);
  }

  reveal(which) {
    const [p, q] = this.ends;
    const place = which === 2 ? [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2] : this.ends[which];
    if (this.map.view.zoom > 1) {
      this.map.view.reveal(...place);
      this.map.draw();
    }
  }

  /** Another length, about the same middle. */
  setLength(lengthMm) {
    this.lengthMm = lengthMm;
    if (lengthMm !== null) {
      const [p, q] = this.ends;
      const middle = [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2];
      const apart = Math.hypot(q[0] - p[0], q[1] - p[1]);
      const half = [((q[0] - p[0]) / apart) * (lengthMm / 2), ((q[1] - p[1]) / apart) * (lengthMm / 2)];
      this.ends = [[middle[0] - half[0], middle[1] - half[1]], [middle[0] + half[0], middle[1] + half[1]]];
    }
    this.onChange({ settled: true });
  }

  /** Lays it to exactly these places. */
  put(ends) {
    this.ends = ends;
    this.onChange({ settled: true });
  }

  /** Lays an edge over two contacts, in the middle of them. */
  over(contacts, lengthMm) {
    this.ends = contacts.map((place) => [...place]);
    this.setLength(lengthMm);
  }

  /** Puts the grips where the ends are on the screen, in the map in any case. */
  placeGrips() {
    const { view } = this.map;
    const [p, q] = this.ends.map((place) => view.toScreen(...place));
    const apart = Math.max(1, Math.hypot(q[0] - p[0], q[1] - p[1]));
    const along = [(q[0] - p[0]) / apart, (q[1] - p[1]) / apart];
    const across = along[0] >= 0 ? [along[1], -along[0]] : [-along[1], along[0]];
    const at = [
      [p[0] - along[0] * GRIP_OUT_PX, p[1] - along[1] * GRIP_OUT_PX],
      [q[0] + along[0] * GRIP_OUT_PX, q[1] + along[1] * GRIP_OUT_PX],
      [(p[0] + q[0]) / 2 + across[0] * GRIP_BESIDE_PX, (p[1] + q[1]) / 2 + across[1] * GRIP_BESIDE_PX],
    ];
    this.grips.forEach((grip, i) => {
      const left = Math.min(view.width - HALF_GRIP_PX, Math.max(HALF_GRIP_PX, at[i][0]));
      const top = Math.min(view.height - HALF_GRIP_PX, Math.max(HALF_GRIP_PX, at[i][1]));
      grip.style.transform = `translate(${left - HALF_GRIP_PX}px, ${top - HALF_GRIP_PX}px)`;
    });
  }

  /** What each grip is called, with its place. */
  nameGrips(words) {
    const [p, q] = this.ends;
    const names = [
      `End P of the straightedge, ${words.place(p)}`,
      `End Q of the straightedge, ${words.place(q)}`,
      "The whole straightedge",
    ];
    this.grips.forEach((grip, i) => grip.setAttribute("aria-label", names[i]));
  }
}
