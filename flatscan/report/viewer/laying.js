// The straightedge as it is laid: works out its gap, draws the section, says it.

class Laying {
  /** ``viewer`` holds the grids, the words, the map and what is said. */
  constructor(viewer) {
    this.viewer = viewer;
    this.result = null;
    this.typed = new Typed(this);
    this.edge = this.firstEdge();
  }

  /** The worst gap's edge as it lay; where there is none, one along the middle of the room. */
  firstEdge() {
    const { data, map } = this.viewer;
    const worst = data.findings.find((finding) => finding.contacts);
    const box = map.view.box;
    const [middle, wide] = [(box[1] + box[3]) / 2, box[2] - box[0]];
    const ends = worst?.contacts ?? [[box[0] + wide / 4, middle], [box[2] - wide / 4, middle]];
    const edge = new Straightedge(map, ends, null, (change) => this.lay(change), () => this.touched());
    edge.over(ends, this.lengthOf(worst?.edge_mm ?? data.limits[0]?.edge_mm));
    return edge;
  }

  /** A length that can be chosen; null: as long as the line. */
  lengthOf(edgeMm) {
    return this.viewer.data.edge.rules.some((rule) => rule.edge_mm === edgeMm) ? edgeMm : null;
  }

  /** A length was chosen, by its value among the choices. */
  choose(value) {
    this.touched();
    this.edge.setLength(value === "free" ? null : Number(value));
  }

  /** A person laid it: it is theirs now, and printed with the page. */
  touched() {
    this.viewer.root.classList.add("laid");
    this.typed.say("");
    for (const id of TYPED_FIELDS) byId(id).removeAttribute("aria-invalid");
  }

  /** A number was typed for a place. */
  type(id) {
    this.viewer.root.classList.add("laid");
    this.typed.read(id);
  }

  /** Works everything out anew; ``settled``: the edge has come to rest, so it may be told aloud. */
  lay({ settled }) {
    if (!this.edge) return; // it is only being made
    const { viewer } = this;
    const { ends } = this.edge;
    const edgeMm = this.edge.lengthMm;
    const bridgeMm = viewer.data.edge.bridge_mm;
    const laid = layEdge({ heights: viewer.heights, seen: viewer.seen }, ...ends, edgeMm, bridgeMm);
    const after = this.changes(laid, ends)
      ? layEdge({ heights: viewer.levelledFloor.grid, seen: viewer.seen }, ...ends, edgeMm, bridgeMm) : null;
    const u = this.doubtOf(laid);
    const judged = judgeEdge(viewer.data, laid, u, edgeMm);
    const own = judgedHere(viewer.data, laid, edgeMm);
    this.result = { laid, after, edgeMm, u, expandedMm: COVERAGE_K * u, judged, own, afterExpandedMm: COVERAGE_K * this.doubtOf(after) };
    viewer.scene.edge = { ends, laid: laid.gapMm > 0 ? laid : null };
    this.edge.nameGrips(viewer.words);
    this.tell(settled);
    this.draw();
    viewer.map.draw();
  }

  doubtOf(laid) {
    return !laid || laid.gapMm === null ? NaN : uncertaintyOf(laid, this.viewer.data.edge, this.viewer.doubts);
  }

  /** Whether the planned work changes the floor on this line. */
  changes(laid, [start, end]) {
    const { levelledFloor, work } = this.viewer;
    if (!levelledFloor) return false;
    const length = laid.atMm[laid.atMm.length - 1];
    return laid.atMm.some((at) => {
      const place = [0, 1].map((axis) => start[axis] + ((end[axis] - start[axis]) * at) / length);
      return Math.abs(valueAt(work, place)) > 0;
    });
  }

  tell(settled) {
    const { viewer, result, edge } = this;
    const { laid, judged, edgeMm, u } = result;
    const out = byId("edge-result");
    out.replaceChildren(...edgeParts(result, viewer.words, viewer.looks));
    // For programs, such as the tests.
    Object.assign(out.dataset, {
      gapMm: String(laid.gapMm),
      uMm: String(u),
      edgeMm: String(edgeMm),
      verdict: judged.word,
      startMm: edge.ends[0].join(" "),
      endMm: edge.ends[1].join(" "),
      contactsMm: laid.gapMm > 0 ? laid.contacts.flat().join(" ") : "",
    });
    for (const input of viewer.root.querySelectorAll("input[name=edge]")) {
      input.checked = input.value === (edgeMm === null ? "free" : String(edgeMm));
    }
    const [p, q] = edge.ends.map((place) => viewer.words.place(place));
    byId("edge-places").textContent = `P lies ${p}. Q lies ${q}.`;
    this.typed.fill();
    if (settled && viewer.root.dataset.prepared) viewer.say([...out.children].map((line) => line.textContent).join(" "));
  }

  draw() {
    if (!this.result) return;
    const { laid, after, edgeMm, expandedMm } = this.result;
    const { words } = this.viewer;
    const gapText = laid.gapMm === null ? "" : words.sizeText(laid.gapMm, expandedMm);
    drawSection(byId("section"), { laid, after: after?.heights ?? null, edgeMm, words, gapText });
  }
}
