// Numbers as a person reads them, in metric or in feet and inches.

const MM_PER_IN = 25.4;
const IN_PER_FT = 12;
const MM_PER_M = 1000;
/** Between a figure and its unit, so that no line breaks there. */
const HELD = "\u00a0";

/** Halves of an inch as "3 1/2". */
function halves(count) {
  const whole = Math.floor(count / 2);
  if (count % 2 === 0) return String(whole);
  return whole ? `${whole} 1/2` : "1/2";
}

/** How lengths are told; ``imperial`` is switched by the person at any time. */
class Words {
  constructor(imperial) {
    this.imperial = imperial;
  }

  get smallUnit() {
    return this.imperial ? "in" : "mm";
  }

  /** A small length as a bare figure: mm to 0.1, inches to 0.01. */
  figure(mm) {
    const text = this.imperial ? (mm / MM_PER_IN).toFixed(2) : mm.toFixed(1);
    return Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−");
  }

  /** A gap, a thickness: "6.7 mm". */
  size(mm) {
    return `${this.figure(mm)}${HELD}${this.smallUnit}`;
  }

  /** "6.7 ± 2.6 mm"; the ± is U, two standard uncertainties. */
  plusMinus(mm, expandedMm) {
    if (!Number.isFinite(expandedMm)) return `${this.size(mm)}, uncertainty not known`;
    // A small uncertainty is never rounded to nothing.
    const least = this.imperial ? 0.01 * MM_PER_IN : 0.1;
    const give = this.figure(expandedMm > 0 ? Math.max(expandedMm, least) : 0);
    return [this.figure(mm), "±", give, this.smallUnit].join(HELD);
  }

  /** A height with its sign. */
  height(mm, expandedMm) {
    const sign = Number(this.figure(mm).replace("−", "-")) > 0 ? "+" : "";
    return sign + (expandedMm === null ? this.size(mm) : this.plusMinus(mm, expandedMm));
  }

  /** A round part of an inch. */
  fraction(mm) {
    const inches = mm / MM_PER_IN;
    return inches >= 1 ? `${inches} in` : `1/${Math.round(1 / inches)} in`;
  }

  /** A limit as it was set: as many decimals as it has. */
  limit(mm) {
    return this.imperial ? `${(mm / MM_PER_IN).toFixed(2)}${HELD}in` : `${Number(mm.toFixed(2))}${HELD}mm`;
  }

  /** A straightedge or a span: "2 m", "6.56 ft". */
  reach(mm) {
    if (!this.imperial) return `${Number((mm / MM_PER_M).toFixed(3))}${HELD}m`;
    const inches = mm / MM_PER_IN;
    return inches < IN_PER_FT ? `${Number(inches.toFixed(1))}${HELD}in` : `${Number((inches / IN_PER_FT).toFixed(2))}${HELD}ft`;
  }

  /** A distance on a tape: to the centimetre, or to half an inch. */
  tape(mm) {
    if (!this.imperial) return `${(Math.round(mm / 10) / 100 + 0).toFixed(2)}${HELD}m`;
    const count = Math.round((Math.abs(mm) / MM_PER_IN) * 2);
    const sign = mm < 0 && count ? "−" : "";
    if (count < 2 * 2 * IN_PER_FT) return `${sign}${halves(count)} in`.replaceAll(" ", HELD);
    const rest = count % (2 * IN_PER_FT);
    return `${sign}${Math.floor(count / (2 * IN_PER_FT))} ft${rest ? ` ${halves(rest)} in` : ""}`.replaceAll(" ", HELD);
  }

  /** A place as two tapes from corner 0. */
  place(at) {
    return `${this.tape(at[0])} from the left wall, ${this.tape(at[1])} from the bottom wall`;
  }

  /** What is typed for a place: metres or inches. */
  typed(mm) {
    return this.imperial ? (mm / MM_PER_IN).toFixed(1) : (mm / MM_PER_M).toFixed(3);
  }

  fromTyped(text) {
    return Number(text) * (this.imperial ? MM_PER_IN : MM_PER_M);
  }

  get typedUnit() {
    return this.imperial ? "in" : "m";
  }

  /** How far an arrow key moves an end, and with shift. */
  steps() {
    return this.imperial ? [0.5 * MM_PER_IN, 6 * MM_PER_IN] : [10, 100];
  }

  /** Distance of grid lines that keeps them apart by ``leastPx``, and the figure at each. */
  gridMm(pxPerMm, leastPx) {
    const steps = this.imperial
      ? [3, 6, 12, 24, 60, 120, 240].map((inches) => inches * MM_PER_IN)
      : [50, 100, 250, 500, 1000, 2000, 5000, 10000];
    return steps.find((step) => step * pxPerMm >= leastPx) ?? steps[steps.length - 1];
  }

  gridFigure(mm) {
    if (!this.imperial) return `${Number((mm / MM_PER_M).toFixed(2))} m`;
    const inches = Math.round(mm / MM_PER_IN);
    const [feet, rest] = [Math.floor(inches / IN_PER_FT), inches % IN_PER_FT];
    return rest ? `${feet ? `${feet}′` : ""}${rest}″` : `${feet}′`;
  }
}
