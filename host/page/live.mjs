// The number on the screen: from counts to a load in the unit shown, and what follows from it. Pure functions.
//
// Loads are newtons here (names end in N); only `shown` turns them into the person's unit.

import { SETTING_LIMITS } from "./wire/layout.mjs";

/** Newtons in one of each unit: exact by definition (kgf: 3rd CGPM 1901; lbf: 1959 yard and pound agreement). */
export const UNITS = Object.freeze({
  N: 1, kN: 1000, kgf: 9.80665, tf: 9806.65, lbf: 4.4482216152605, kip: 4448.2216152605,
});

/** Where a number of more than four figures goes on. */
const LARGER = Object.freeze({ N: "kN", kgf: "tf", lbf: "kip" });

const polynomial = ({ centre_counts: centre, scale_counts: scale, c0_n: c0, c1_n: c1, c2_n: c2, c3_n: c3 }, counts) => {
  const z = (counts - centre) / scale;
  return c0 + z * (c1 + z * (c2 + z * c3));
};

/** Newtons at `counts` above those at `zeroCounts`: the copy of a calibration, as protocol/SPEC.md has it. */
export function loadN(calibration, counts, zeroCounts) {
  return polynomial(calibration, counts) - polynomial(calibration, zeroCounts);
}

/** A stop load as the distance in counts at which the logger calls by itself; 0 where there is none, or no calibration. */
export function alarmCounts(calibration, stopLoadN) {
  if (!calibration || !(stopLoadN > 0) || !calibration.c1_n) return 0;
  const counts = Math.round(Math.abs((stopLoadN * calibration.scale_counts) / calibration.c1_n));
  const [lowest, , highest] = SETTING_LIMITS.ALARM_COUNTS;
  return counts > lowest && counts <= highest ? counts : 0;
}

/**
 * A load as text: {text, unit}, at most `figures` figures, so that it neither jumps in width nor claims more than a
 * live number knows. In the unit asked for unless it needs more figures before the point than there are.
 */
export function shown(newtons, unit, figures = 4) {
  let name = unit;
  let value = newtons / UNITS[unit];
  // 9999.6 would be rounded to five figures
  while (LARGER[name] && Math.abs(value) >= 10 ** figures - 0.5) {
    name = LARGER[name];
    value = newtons / UNITS[name];
  }
  const decimals = { kN: 2, tf: 3, kip: 2 }[name] ?? 0;
  let text = value.toFixed(decimals);
  for (let places = decimals - 1; places >= 0 && text.replace(/[^0-9]/g, "").length > figures; places--) {
    text = value.toFixed(places);
  }
  return { text: Number(text) === 0 ? text.replace("-", "") : text, unit: name };
}

/** Numbers that a zero is the mean of, at least: a slow link brings two or three a second. */
export const FEWEST_FOR_ZERO = 5;

/** The mean of the latest counts, and their spread (standard deviation); null before there are enough. */
export function zeroFrom(latest) {
  if (latest.length < FEWEST_FOR_ZERO) return null;
  const mean = latest.reduce((sum, one) => sum + one, 0) / latest.length;
  const spread = Math.sqrt(latest.reduce((sum, one) => sum + (one - mean) ** 2, 0) / (latest.length - 1));
  return { counts: mean, spread };
}

/**
 * How far the true peak may lie above the largest sample, as a share of it: the converter shows the mean of its last three
 * or four conversions, so a ramp that ends in a sudden break is shown late by half of that, and the last whole
 * conversion lies up to one more back. Ramp x (order / 2 + 1) / rate with order 4, as `largest_miss` in plan/events.py.
 * `rampNPerS` is the steepest rise just before the largest sample.
 */
export function mayLieAbove(rampNPerS, rateHz, largestN, order = 4) {
  if (!(largestN > 0) || !(rateHz > 0)) return null;
  return (Math.max(0, rampNPerS) * (order / 2 + 1)) / rateHz / largestN;
}

/**
 * Follows the live numbers of one pull: the largest so far, when it let go, when the stop load was passed.
 *
 * A break is a fall by `share` of the largest within `withinMs`; a pull that was only eased takes longer. It is for a tone
 * on the spot; how the specimen broke is read later, from the whole run.
 */
export class Watch {
  largestN = -Infinity;
  broke = false;
  stopPassed = false;
  /** @type {number | null} */
  stopLoadN;
  #latest = []; // [ms, newtons], at most `withinMs` old
  #leastN;
  #share;
  #withinMs;

  constructor({ stopLoadN = null, leastN = 0, share = 0.4, withinMs = 500 } = {}) {
    this.stopLoadN = stopLoadN;
    this.#leastN = leastN;
    this.#share = share;
    this.#withinMs = withinMs;
  }

  /** Take a load; returns "break", "stop load" or null for what has just happened. */
  take(newtons, nowMs) {
    this.#latest = this.#latest.filter(([ms]) => nowMs - ms <= this.#withinMs);
    const before = this.#latest.reduce((most, [, load]) => Math.max(most, load), -Infinity);
    this.#latest.push([nowMs, newtons]);
    this.largestN = Math.max(this.largestN, newtons);
    if (this.stopLoadN !== null && newtons >= this.stopLoadN && !this.stopPassed) {
      this.stopPassed = true;
      return "stop load";
    }
    if (this.stopPassed && newtons < 0.95 * this.stopLoadN) this.stopPassed = false;
    if (!this.broke && before >= this.#leastN && before > 0 && before - newtons > this.#share * this.largestN) {
      this.broke = true;
      return "break";
    }
    return null;
  }
}

/** What such a clock says of the seconds that were asked for. The longest stands there when the load has gone again. */
export function holdWords({ seconds, longest }, asked) {
  const whole = Math.floor(longest);
  const shape = longest >= asked ? "●" : "▲";
  const told = `${shape} ${Math.floor(seconds)} of ${asked} s`.replaceAll(" ", "\u00a0"); // never split over lines
  return Math.floor(seconds) < whole ? `${told}, longest\u00a0${whole}\u00a0s` : told;
}

/** Seconds at or above a load without a break, while it happens. It decides nothing: `breakyard proof` does. */
export class HoldClock {
  seconds = 0;
  longest = 0;
  /** @type {number} */
  loadN;
  /** @type {number | null} */
  #sinceMs = null;

  constructor(loadN) {
    this.loadN = loadN;
  }

  take(newtons, nowMs) {
    if (newtons < this.loadN) this.#sinceMs = null;
    else this.#sinceMs ??= nowMs;
    this.seconds = this.#sinceMs === null ? 0 : (nowMs - this.#sinceMs) / 1000;
    this.longest = Math.max(this.longest, this.seconds);
    return this.seconds;
  }
}
