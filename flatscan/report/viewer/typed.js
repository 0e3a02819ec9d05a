// Places of P and Q that are typed: the end that is not typed stays where it is.

const TYPED_FIELDS = ["typed-px", "typed-py", "typed-qx", "typed-qy"];
const SAME_LENGTH_MM = 1; // a typed length so near to the chosen one is that one
const LEAST_LENGTH_MM = 1;

class Typed {
  constructor(laying) {
    this.laying = laying;
  }

  /** A number was typed: laid, or refused with a sentence. */
  read(id) {
    const field = byId(id);
    const { viewer, edge } = this.laying;
    const which = TYPED_FIELDS.indexOf(id);
    const [end, axis] = [which >> 1, which & 1];
    const value = field.value.trim() === "" ? NaN : viewer.words.fromTyped(field.value);
    const ends = edge.ends.map((place) => [...place]);
    ends[end][axis] = value;
    const wrong = this.wrong(value, axis, end, ends);
    if (wrong) field.setAttribute("aria-invalid", "true");
    else for (const one of TYPED_FIELDS) byId(one).removeAttribute("aria-invalid");
    this.say(wrong);
    if (wrong) return;
    const length = Math.hypot(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]);
    const was = edge.lengthMm;
    if (was !== null && Math.abs(length - was) > SAME_LENGTH_MM) {
      edge.lengthMm = null;
      const words = viewer.words;
      this.say(`${"QP"[end]} stays where it is, so the edge is now ${words.reach(Math.round(length))} long, without a limit. Choose ${words.edge(was)} above to lay that length again, over the same middle.`);
    }
    edge.put(ends);
  }

  /** What is wrong with a typed number; "" for nothing. */
  wrong(value, axis, end, ends) {
    const { words, map } = this.laying.viewer;
    const name = "PQ"[end];
    if (!Number.isFinite(value)) return `${name} stays where it was: type a number, ${words.imperial ? "inches" : "metres"}.`;
    const [low, high] = [map.view.box[axis], map.view.box[axis + 2]];
    if (value < low - LEAST_LENGTH_MM || value > high + LEAST_LENGTH_MM) {
      const wall = axis ? "bottom" : "left";
      return `${name} stays where it was: ${words.tape(value)} from the ${wall} wall lies outside the room, which reaches from ${words.tape(low)} to ${words.tape(high)}.`;
    }
    if (Math.hypot(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]) < LEAST_LENGTH_MM) return `${name} stays where it was: P and Q would be the same place.`;
    return "";
  }

  say(text) {
    byId("typed-said").textContent = text;
  }

  /** The fields as the edge lies; one that is being typed in, or was refused, keeps what was typed. */
  fill() {
    const { edge, viewer } = this.laying;
    edge.ends.flat().forEach((mm, k) => {
      const field = byId(TYPED_FIELDS[k]);
      if (field !== document.activeElement && !field.hasAttribute("aria-invalid")) field.value = viewer.words.typed(mm);
    });
  }
}
