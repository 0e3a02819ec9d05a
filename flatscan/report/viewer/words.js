// Numbers as a person reads them, in metric or in feet and inches.

const MM_PER_IN = 25.4;
const IN_PER_FT = 12;
const MM_PER_M = 1000;
/** Between a figure and its unit, so that no line breaks there. */
const HELD = "\u00a0";

/** A figure with so many decimals, halves to the even one: as the package rounds. */
function fixed(value, places) {
  const size = Math.abs(value);
  const [whole, rest] = size.toFixed(60).split(".");
  const half = /^50*$/.test(rest.slice(places)) && Number((whole + rest.slice(0, places)).slice(-1)) % 2 === 0;
  const said = half ? whole + (places ? `.${rest.slice(0, places)}` : "") : size.toFixed(places);
  return value < 0 && Number(said) !== 0 ? `−${said}` : said;
}

/** A whole number, halves to the even one. */
function nearestWhole(value) {
  return Number(fixed(value, 0).replace("−", "-"));
}

/** Parts of an inch as "2 3/8". */
function inParts(parts, perInch) {
  const rest = parts % perInch;
  const full = Math.floor(parts / perInch);
  if (!rest) return String(full);
  let [above, below] = [rest, perInch];
  for (; above % 2 === 0; above /= 2) below /= 2;
  return full ? `${full} ${above}/${below}` : `${above}/${below}`;
}

/** Halves of an inch as "3 1/2". */
function halves(count) {
  return inParts(count, 2);
}

/** How lengths are told; ``imperial`` is switched by the person at any time. */
class Words {
  constructor(imperial) {
    this.imperial = imperial;
  }

  get smallUnit() {
    return this.imperial ? "in" : "mm";
  }

  /** A small length in the unit that is read. */
  inUnit(mm) {
    return this.imperial ? mm / MM_PER_IN : mm;
  }

  /** A small length as a bare figure: mm to 0.1, inches to 0.01, or to so many decimals. */
  figure(mm, places = this.imperial ? 2 : 1) {
    return fixed(this.inUnit(mm), places);
  }

  /** Decimals that show an uncertainty with one or two figures: the package's quantity.py. */
  decimals(expandedMm) {
    const shown = this.inUnit(expandedMm);
    if (!this.imperial) return !(shown > 0) ? 2 : shown >= 10 ? 0 : shown >= 0.1 ? 1 : 2;
    return !(shown > 0) ? 3 : shown >= 1 ? 1 : shown >= 0.01 ? 2 : shown >= 0.001 ? 3 : 4;
  }

  /** Decimals that tell figures apart which lie a step from each other. */
  decimalsOf(stepMm) {
    const step = this.inUnit(stepMm);
    const least = this.imperial ? 2 : 1;
    return [0, 1, 2, 3].map((more) => least + more).find((d) => Math.abs(step - Number(step.toFixed(d))) < step / 50) ?? least + 4;
  }

  /** A gap, a thickness: "6.7 mm". */
  size(mm) {
    return `${this.figure(mm)}${HELD}${this.smallUnit}`;
  }

  /** "6.7 ± 2.6 mm"; the ± is U, two standard uncertainties. */
  plusMinus(mm, expandedMm) {
    if (!Number.isFinite(expandedMm)) return `${this.size(mm)}, uncertainty not known`;
    const places = this.decimals(expandedMm);
    // A small uncertainty is never rounded to nothing.
    const give = Math.max(this.inUnit(expandedMm), expandedMm > 0 ? 10 ** -places : 0);
    return [this.figure(mm, places), "±", fixed(give, places), this.smallUnit].join(HELD);
  }

  /** The same of what cannot be negative: where U is the larger, its range takes the place of ±. */
  sizeText(mm, expandedMm) {
    if (!Number.isFinite(expandedMm) || mm >= expandedMm) return this.plusMinus(mm, expandedMm);
    const places = this.decimals(expandedMm);
    const shown = this.figure(mm, places);
    const most = fixed(Math.max(this.inUnit(Math.max(0, mm) + expandedMm), 10 ** -places), places);
    return (Number(shown) > 0 ? `${shown} ${this.smallUnit} (0 to ${most})` : `0 to ${most} ${this.smallUnit}`).replaceAll(" ", HELD);
  }

  /** A height with its sign. */
  height(mm, expandedMm) {
    const said = expandedMm === null ? this.size(mm) : this.plusMinus(mm, expandedMm);
    return parseFloat(said) > 0 ? `+${said}` : said;
  }

  /** A round part of an inch. */
  fraction(mm) {
    const inches = mm / MM_PER_IN;
    return inches >= 1 ? `${inches} in` : `1/${Math.round(1 / inches)} in`;
  }

  /** A limit as it was set: as many decimals as it has, and its own figure beside inches: "0.118 in [3 mm]". */
  limit(mm) {
    const stated = `${Number(fixed(mm, 2))} mm`;
    if (!this.imperial) return stated.replace(" ", HELD);
    const told = `${Number(fixed(mm / MM_PER_IN, 3))} in`;
    const parts = (mm / MM_PER_IN) * 32;
    const own = Math.abs(parts - Math.round(parts)) <= 32e-6 ? `${inParts(Math.round(parts), 32)} in` : stated;
    return (own === told ? told : `${told} [${own}]`).replaceAll(" ", HELD);
  }

  /** A straightedge to take in hand, named as it is sold: "6.56 ft [2 m]". */
  edge(mm) {
    const inches = mm / MM_PER_IN;
    if (!this.imperial || Math.abs(inches - Math.round(inches)) < 1e-6) return this.reach(mm);
    return `${this.reach(mm)} [${Number((mm / MM_PER_M).toFixed(3))} m]`.replaceAll(" ", HELD);
  }

  /** A straightedge or a span: "2 m", "6.56 ft". */
  reach(mm) {
    if (!this.imperial) return `${Number((mm / MM_PER_M).toFixed(3))}${HELD}m`;
    const inches = mm / MM_PER_IN;
    return inches < IN_PER_FT ? `${Number(inches.toFixed(1))}${HELD}in` : `${Number((inches / IN_PER_FT).toFixed(2))}${HELD}ft`;
  }

  /** A distance on a tape: to the centimetre, or to half an inch. */
  tape(mm) {
    if (!this.imperial) return `${fixed(mm / MM_PER_M, 2)}${HELD}m`;
    const count = nearestWhole((Math.abs(mm) / MM_PER_IN) * 2);
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
