// Run files: every run in some bytes, however damaged, with an exact account of what is missing (SPEC.md, sections 4 and 9).
//
// Raw counts are kept as they came. Samples lost with damaged records, or never stored because the store was full, are
// taken from the peak windows where these have them. Nothing is interpolated.

import { DamagedRecord, FrameReader, join } from "./frame.mjs";
import { KIND, LIMITS, QUALITY } from "./layout.mjs";
import { parse } from "./records.mjs";

/** Known kinds that no store holds: with a run number they are sound, and belong to no run all the same. */
const NOT_STORED = new Set(
  [KIND.STATUS, KIND.COMMAND, KIND.ANSWER, KIND.LOG, KIND.CALIBRATION, KIND.RECEIPT, KIND.FILE],
);

/** A step this many times the usual one means that at least one conversion was not read. */
const LONG_STEP = 1.5;

const microseconds = (seconds, us) => seconds * 1e6 + us;

/**
 * Decode a whole file or captured stream: {records, damaged}, records in their order, each {raw, offset} and what
 * `parse` gives. Throws nothing: damage is part of the answer.
 */
export function decode(bytes) {
  const reader = new FrameReader();
  reader.receive(bytes);
  reader.end();
  const records = [];
  const damaged = [];
  for (let item; (item = reader.next());) {
    if (item.damaged) {
      damaged.push(item.damaged);
      continue;
    }
    try {
      records.push({ ...parse(item.record), raw: item.record, offset: item.offset });
    } catch (error) {
      if (!(error instanceof DamagedRecord)) throw error;
      damaged.push({ offset: item.offset, length: item.record.length + 1, reason: error.reason });
    }
  }
  return { records, damaged };
}

/**
 * Read every run in the bytes, in order of first appearance; files may be put together and mixed. An empty list if there
 * is none.
 *
 * A run is {number, counts: Int32Array, timeUs: Float64Array, quality: Uint8Array, sample (numbers), begin, end, identity,
 * settings (fields, or null), marks, windows, means, gaps, missingRecords, missingSamples, duplicates, unknownRecords, damaged,
 * fromWindows, complete, notes}. A gap is {afterSample, missing, cause}: place in the arrays (-1: before all of them),
 * samples missing, and "record" (lost or not stored) or "conversion" (not read from the converter).
 */
export async function readRuns(bytes) {
  const { records, damaged } = decode(bytes);
  const parts = collect(records);
  shareDamage(parts, damaged);
  return Promise.all(parts.map(describe));
}

/** Sort records into runs; a number and index that come again with other bytes begin another run of that number. */
function collect(records) {
  const parts = [];
  const latest = new Map();
  for (const record of records) {
    if (!record.run || NOT_STORED.has(record.kind)) continue;
    let part = latest.get(record.run);
    const known = part?.byIndex.get(record.index);
    if (known) {
      if (sameBytes(known.raw, record.raw)) {
        part.duplicates++;
        part.places.push(record.offset);
        continue;
      }
      part = undefined;
    }
    if (!part) {
      part = { number: record.run, byIndex: new Map(), duplicates: 0, damaged: [], places: [] };
      latest.set(record.run, part);
      parts.push(part);
    }
    part.byIndex.set(record.index, record);
    part.places.push(record.offset);
  }
  return parts;
}

function sameBytes(a, b) {
  return a.length === b.length && a.every((byte, i) => byte === b[i]);
}

/** Each damaged stretch belongs to the run of the record before it, the first ones to the first run. */
function shareDamage(parts, damaged) {
  const owners = parts.flatMap((part) => [...part.byIndex.values()].map((record) => [record.offset, part]));
  owners.sort((a, b) => a[0] - b[0]);
  let next = 0;
  for (const stretch of damaged) {
    while (next < owners.length && owners[next][0] < stretch.offset) next++;
    (next ? owners[next - 1][1] : parts[0])?.damaged.push(stretch);
  }
}

async function describe(part) {
  const records = [...part.byIndex.values()].sort((a, b) => a.index - b.index);
  const first = (name) => records.find((record) => record.name === name)?.fields ?? null;
  const all = (name) => records.filter((record) => record.name === name).map((record) => record.fields);
  const missingRecords = [];
  let expected = 0;
  for (const { index } of records) {
    if (index > expected) missingRecords.push([expected, index - 1]);
    expected = index + 1;
  }
  const begin = first("RUN_BEGIN");
  const endRecord = records.findLast((record) => record.name === "RUN_END");
  const end = endRecord?.fields ?? null;
  const hashAgrees = end && !missingRecords.length && records.at(-1) === endRecord
    ? await hashIs(records.slice(0, -1), end.sha256)
    : false;

  const windows = all("PEAK_WINDOW");
  const means = meansOf(all("MEANS"));
  const coverage = new Coverage(means);
  const stored = columns(all("SAMPLES"));
  const notes = totals(end, stored, windows.length, means, coverage);
  const { samples, fromWindows, leftOut } = merge(stored, columns(windows));
  if (leftOut) notes.push(`${leftOut} samples whose time does not increase were left out`);
  const numbers = samples.number;
  const zero = zeroOf(samples, begin, means);
  const timeUs = samples.time.map((time) => time - zero);
  const seen = Math.max(numbers.length ? numbers[numbers.length - 1] + 1 : 0, coverage.last + 1);
  const here = numbers.length + coverage.total - coverage.countOf(numbers);
  return {
    number: part.number,
    counts: samples.counts,
    timeUs,
    quality: samples.quality,
    sample: numbers,
    begin,
    end,
    identity: first("IDENTITY"),
    settings: first("SETTINGS"),
    marks: all("MARK"),
    windows,
    means: means.map(({ time, ...mean }) => ({ ...mean, timeUs: time - zero })),
    gaps: gapsOf(timeUs, numbers, begin, end, coverage),
    missingRecords,
    missingSamples: Math.max(0, (end ? end.samples : seen) - here),
    duplicates: part.duplicates,
    unknownRecords: records.filter((record) => record.name === null).length,
    damaged: part.damaged,
    fromWindows,
    complete: hashAgrees && !notes.length,
    notes,
  };
}

/** Does SHA-256 over those records, in that order, equal `expected`? */
async function hashIs(records, expected) {
  const whole = join(records.map(({ raw }) => raw));
  return sameBytes(new Uint8Array(await crypto.subtle.digest("SHA-256", whole)), expected);
}

/** Means one after another: {time (of its first sample), first (its number), number (of samples), mean, lowest, highest, quality}. */
function meansOf(records) {
  return records.flatMap(({ first_sample: first, first_s: s, first_us: us, means }) => {
    let time = microseconds(s, us);
    return means.map(({ step_ms: step, number, ...rest }) => {
      time += step * 1000;
      const one = { time, first, number, ...rest };
      first += number;
      return one;
    });
  });
}

/** Which numbers of samples some means stand for. */
class Coverage {
  #spans = []; // [begin, end, how many numbers before], in order, without overlap

  constructor(means) {
    let [reached, before] = [0, 0];
    for (const { first, number } of means.toSorted((a, b) => a.first - b.first)) {
      const begin = Math.max(first, reached);
      const end = Math.max(first + number, begin);
      this.#spans.push([begin, end, before]);
      before += end - begin;
      reached = Math.max(reached, end);
    }
    this.total = before;
    this.last = reached - 1;
  }

  /** How many numbers below this one they stand for. */
  below(number) {
    let [low, high] = [0, this.#spans.length];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.#spans[middle][0] < number) low = middle + 1;
      else high = middle;
    }
    if (!low) return 0;
    const [begin, end, before] = this.#spans[low - 1];
    return before + Math.min(end, number) - begin;
  }

  between(low, high) {
    return this.below(high) - this.below(low);
  }

  countOf(numbers) {
    let count = 0;
    if (this.total) for (const number of numbers) count += this.below(number + 1) - this.below(number);
    return count;
  }
}

/** The samples of some records as columns: numbers, device times in us, counts, quality; in order of number, each once. */
function columns(records) {
  const total = records.reduce((size, { samples }) => size + samples.counts.length, 0);
  const made = emptyColumns(total);
  let at = 0;
  let sorted = true;
  for (const { first_sample: first, first_s: s, first_us: us, samples } of records) {
    let time = microseconds(s, us);
    for (let i = 0; i < samples.counts.length; i++, at++) {
      time += samples.steps[i] * LIMITS.STEP_US;
      made.number[at] = first + i;
      made.time[at] = time;
      made.counts[at] = samples.counts[i];
      made.quality[at] = samples.quality[i];
      if (at && made.number[at] <= made.number[at - 1]) sorted = false;
    }
  }
  if (sorted) return made;
  const order = Uint32Array.from({ length: total }, (_, i) => i).sort(
    (a, b) => made.number[a] - made.number[b] || a - b,
  );
  return pick(made, order.filter((place, i) => !i || made.number[place] !== made.number[order[i - 1]]));
}

function emptyColumns(size) {
  return {
    number: new Float64Array(size), time: new Float64Array(size),
    counts: new Int32Array(size), quality: new Uint8Array(size),
  };
}

function pick(from, places) {
  const made = emptyColumns(places.length);
  for (const name of Object.keys(made)) {
    for (let i = 0; i < places.length; i++) made[name][i] = from[name][places[i]];
  }
  return made;
}

/** Those places whose value is larger than every one before. */
function increasing(values) {
  const places = [];
  let highest = -Infinity;
  for (let i = 0; i < values.length; i++) {
    if (values[i] > highest) {
      places.push(i);
      highest = values[i];
    }
  }
  return places;
}

/**
 * Stored samples whose time is later than that of every one before, and between them those of peak windows that are
 * lacking and whose time fits there.
 */
function merge(stored, offered) {
  const inTime = pick(stored, increasing(stored.time));
  const placed = [];
  let next = 0;
  let lacking = 0;
  let highest = -Infinity;
  for (let i = 0; i < offered.number.length; i++) {
    while (next < inTime.number.length && inTime.number[next] < offered.number[i]) highest = inTime.time[next++];
    if (inTime.number[next] === offered.number[i]) continue;
    lacking++;
    const time = offered.time[i];
    if (time <= highest || time >= (inTime.time[next] ?? Infinity)) continue;
    highest = time;
    placed.push([next, i]);
  }
  const samples = emptyColumns(inTime.number.length + placed.length);
  let from = 0;
  let at = 0;
  const put = (source, place) => {
    for (const name of Object.keys(samples)) samples[name][at] = source[name][place];
    at++;
  };
  for (const [place, i] of placed) {
    while (from < place) put(inTime, from++);
    put(offered, i);
  }
  while (from < inTime.number.length) put(inTime, from++);
  const leftOut = stored.number.length - inTime.number.length + lacking - placed.length;
  return { samples, fromWindows: placed.length, leftOut };
}

/** Device time that the times of a run count from. */
function zeroOf({ number, time }, begin, means) {
  const told = begin ? microseconds(begin.first_s, begin.first_us) : Infinity;
  if (!time.length) return begin ? told : means[0]?.time ?? 0;
  return number[0] === 0 ? time[0] : Math.min(time[0], told);
}

function gapsOf(time, number, begin, end, coverage) {
  const gaps = [];
  const many = number.length;
  const lacking = (low, high) => high - low - coverage.between(low, high);
  if (many && lacking(0, number[0])) gaps.push({ afterSample: -1, missing: lacking(0, number[0]), cause: "record" });

  const usual = usualStep(time, begin);
  for (let i = 0; i + 1 < many; i++) {
    const step = time[i + 1] - time[i];
    const skipped = number[i + 1] - number[i] - 1;
    if (skipped) {
      const missing = lacking(number[i] + 1, number[i + 1]);
      if (missing) gaps.push({ afterSample: i, missing, cause: "record" });
    } else if (step > LONG_STEP * usual) {
      gaps.push({ afterSample: i, missing: Math.max(1, Math.floor(step / usual + 0.5) - 1), cause: "conversion" });
    }
  }
  const last = many ? number[many - 1] + 1 : 0;
  const missing = end && end.samples > last ? lacking(last, end.samples) : 0;
  if (missing) gaps.push({ afterSample: many - 1, missing, cause: "record" });
  return gaps;
}

/** Microseconds between conversions: as the run was told to have, else the median step. */
function usualStep(time, begin) {
  if (begin?.rate_mhz) return 1e9 / begin.rate_mhz;
  if (time.length < 2) return Infinity;
  const steps = new Float64Array(time.length - 1);
  for (let i = 0; i < steps.length; i++) steps[i] = time[i + 1] - time[i];
  return steps.sort()[steps.length >> 1];
}

/** Sentences about totals of RUN_END that do not agree with the stored samples. */
function totals(end, { counts, quality, number }, windows, means, coverage) {
  if (!end) return [];
  const told = end.samples - end.samples_not_stored;
  const stored = counts.length + coverage.total - coverage.countOf(number);
  if (stored !== told) return [`RUN_END counts ${told} stored samples, ${stored} are here`];
  const found = { clipped: 0, doubtful: 0, lowest_counts: 0, highest_counts: 0 };
  for (let i = 0; i < counts.length; i++) {
    if (quality[i]) found.doubtful++;
    if (quality[i] === QUALITY.RAIL || counts[i] <= LIMITS.RAIL_LOW || counts[i] >= LIMITS.RAIL_HIGH) found.clipped++;
    if (!i || counts[i] < found.lowest_counts) found.lowest_counts = counts[i];
    if (!i || counts[i] > found.highest_counts) found.highest_counts = counts[i];
  }
  means.forEach(({ lowest, highest }, i) => {
    const first = !i && !counts.length;
    if (first || lowest < found.lowest_counts) found.lowest_counts = lowest;
    if (first || highest > found.highest_counts) found.highest_counts = highest;
  });
  // Totals count samples that were not stored, or stand behind means, too: then what is here only bounds them.
  const agrees = (name) => {
    if (end[name] === found[name]) return true;
    if (!end.samples_not_stored && !coverage.total) return false;
    return !stored || (name === "lowest_counts" ? end[name] < found[name] : end[name] > found[name]);
  };
  const notes = Object.keys(found).filter((name) => !agrees(name))
    .map((name) => `RUN_END says ${name} = ${end[name]}, found ${found[name]}`);
  if (end.peak_windows !== windows) notes.push(`RUN_END counts ${end.peak_windows} peak windows, ${windows} are here`);
  if (Math.max(number.length ? number[number.length - 1] : -1, coverage.last) >= end.samples) {
    notes.push("a sample has a number beyond those that RUN_END counts");
  }
  return notes;
}
