// What the page alone can tell of something weighed: the mean over a swing, less that of the empty hook. It tells no interval:
// what calibration, place and air leave open only the computer knows (host/breakyard/pull/weighing.py, the same windows).

const STANDARD_GRAVITY = 9.80665; // m/s2, 3rd CGPM 1901; on Earth it lies within 0.3 % of that
const BATCHES = 8; // of a window: the scatter of their means tells how steady it is
const HUNG = 0.5; // a window shows the thing if its mean lies above this share of the way up
const WINDOW_S = 10;
const KG_PER_LB = 0.45359237; // exact: yard and pound agreement 1959

const mean = (values, from, to) => {
  let sum = 0;
  for (let i = from; i < to; i++) sum += values[i];
  return sum / (to - from);
};

/** {mean, standard, swing (a standard deviation), start, end} of the samples `from` up to `to`, by batch means (Schmeiser 1982, Operations Research 30, 556). */
export function batchMean(time, load, from, to) {
  const size = Math.floor((to - from) / BATCHES);
  const more = (to - from) % BATCHES; // so many of the first batches have one sample more
  const means = [];
  for (let i = 0, first = from; i < BATCHES; i++) {
    const past = first + size + (i < more ? 1 : 0);
    means.push(mean(load, first, past));
    first = past;
  }
  const middle = mean(means, 0, BATCHES);
  const square = means.reduce((sum, one) => sum + (one - middle) ** 2, 0) / (BATCHES - 1);
  const whole = mean(load, from, to);
  let swung = 0;
  for (let i = from; i < to; i++) swung += (load[i] - whole) ** 2;
  return {
    mean: whole, standard: Math.sqrt(square / BATCHES), swing: Math.sqrt(swung / (to - from)), start: time[from], end: time[to - 1],
  };
}

function windows(time, load, count, forS) {
  const found = [];
  let from = 0;
  let to = 0;
  for (let start = time[0]; start <= time[count - 1] - forS + 1e-9; start += forS / 10) {
    while (from < count && time[from] < start) from++;
    while (to < count && time[to] < start + forS) to++;
    if (to - from >= 2 * BATCHES) found.push(batchMean(time, load, from, to));
  }
  return found;
}

const steadiest = (found) => found.reduce((best, one) => (one.standard < best.standard ? one : best));
const range = (found) => [Math.min(...found.map((one) => one.mean)), Math.max(...found.map((one) => one.mean))];

/**
 * {hung, empty} of a recording, times in seconds and loads in newtons, or {reason} in words. Hook and slings come first,
 * then what is weighed.
 */
export function weighed(time, load, forS = WINDOW_S) {
  const all = windows(time, load, time.length, forS);
  if (!all.length) return { reason: `To average a swing over ${forS} s it must hang for longer than that.` };
  const [lowest, highest] = range(all);
  const hung = steadiest(all.filter((one) => one.mean >= lowest + HUNG * (highest - lowest)));
  const before = time.findIndex((t) => t >= hung.start);
  for (const length of [forS, forS / 2, forS / 4]) {
    const early = windows(time, load, before, length);
    if (!early.length) continue;
    const [low, high] = range(early);
    const empty = steadiest(early.filter((one) => one.mean <= low + 0.02 * Math.max(high - low, 1e-9)));
    // What weighs less than the load swung by is no thing, but the swing of one that hung all along.
    if (hung.mean - empty.mean > hung.swing) return { hung, empty };
    return { reason: `Nothing was hung on what hung before: let hook and slings hang alone for ${forS} s first.` };
  }
  return { reason: `Nothing steady lies before it: let hook and slings hang alone for ${forS} s first.` };
}

/** A mass in the unit that goes with a unit of force: {text, unit}; `places` as many as the half-width supports. */
export function massText(kg, forceUnit, halfWidthKg) {
  const pounds = forceUnit === "lbf" || forceUnit === "kip";
  const per = pounds ? KG_PER_LB : 1;
  const places = Math.max(0, Math.min(6, 1 - Math.floor(Math.log10(Math.max(halfWidthKg / per, 1e-9)))));
  return { text: (kg / per).toFixed(places), unit: pounds ? "lb" : "kg" };
}

/** What the page alone says: {peak, lines}, the mass by standard gravity without an interval. */
export function weighedAlone(time, load, forceUnit) {
  const found = weighed(time, load);
  if (found.reason) return { peak: "", lines: [found.reason] };
  const kg = (found.hung.mean - found.empty.mean) / STANDARD_GRAVITY;
  const { text, unit } = massText(kg, forceUnit, 0.01 * kg);
  return {
    peak: `about ${text} ${unit}`,
    lines: [
      `Not yet read: mean of ${WINDOW_S} s less hook and slings, by standard gravity.`,
      '"breakyard weigh" on a computer gives it with its interval, by local gravity and with the air allowed for.',
    ],
  };
}

/** What the computer's weighing says. */
export function weighedWords({ weighed: found, problem }, forceUnit) {
  if (!Object.keys(found).length) return { peak: "", lines: [problem] };
  const half = (found.high_kg - found.low_kg) / 2;
  const say = (kg) => massText(kg, forceUnit, half).text;
  const { unit } = massText(1, forceUnit, half);
  return {
    peak: `${say(found.mass_kg)} ${unit} (${say(found.low_kg)} to ${say(found.high_kg)})`,
    lines: [
      `Mass with its ${Math.round(100 * found.coverage)} % interval, swing averaged over ${found.seconds} s.`,
      `Taken off (hook and slings): ${say(found.tare_kg)} ${unit}.`,
      `${found.gravity[0].toUpperCase()}${found.gravity.slice(1)}.`,
    ],
  };
}
