// Records to plain objects and back, by the field lists of layout.mjs.
//
// A record is {name, kind, version, run, index, fields}. Numbers are numbers, texts strings, bytes Uint8Arrays; a block of
// samples is {counts: Int32Array, steps: Uint16Array (in units of STEP_US), quality: Uint8Array}, a block of means a list of
// {number, quality, step_ms, mean, lowest, highest}. A kind that this version
// does not know has name null and fields {payload}.

import { check, crc32, DamagedRecord, frame } from "./frame.mjs";
import {
  ARGUMENTS, CRC_SIZE, DAMAGE, FIELDS, HEADER_SIZE, KIND, LIMITS, MAX_US, MEAN_SIZE, RESULTS, SAMPLE_SIZE, TABLE,
  TYPE_SIZES, VERSION,
} from "./layout.mjs";

const KIND_NAMES = new Map(Object.entries(KIND).map(([name, value]) => [value, name]));
const UTF8 = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true });
const NONE = new Uint8Array(0);

/** Microseconds (0..999999) of a pair such as first_s, first_us. */
const followsSeconds = (name, previous) => name.endsWith("_us") && previous === `${name.slice(0, -2)}s`;

/**
 * Read a payload field by field. Bytes after the last field are ignored if `extraAllowed`.
 * Throws DamagedRecord (BAD_LENGTH, BAD_VALUE).
 */
export function readFields(fields, payload, { extraAllowed = false, maxSamples = LIMITS.MAX_SAMPLES } = {}) {
  const values = {};
  const view = new DataView(payload.buffer, payload.byteOffset, payload.byteLength);
  let place = 0;
  let previous = "";
  const take = (name, size) => {
    if (place + size > payload.length) throw new DamagedRecord(DAMAGE.BAD_LENGTH, `it ends within ${name}`);
    place += size;
    return place - size;
  };
  for (const [name, type] of fields) {
    if (type === "rest") {
      values[name] = payload.slice(place);
      return values;
    }
    if (type === "means") {
      const number = payload[take(name, 1)];
      if (number < 1 || number > LIMITS.MAX_MEANS) throw new DamagedRecord(DAMAGE.BAD_VALUE, `${number} means`);
      values[name] = unpackMeans(view, take(name, number * MEAN_SIZE), number);
    } else if (type === "text" || type === "samples") {
      const number = payload[take(name, 1)];
      if (type === "text") {
        if (number > LIMITS.MAX_TEXT) throw new DamagedRecord(DAMAGE.BAD_VALUE, `${name} has ${number} bytes`);
        const at = take(name, number);
        try {
          values[name] = UTF8.decode(payload.subarray(at, at + number));
        } catch {
          throw new DamagedRecord(DAMAGE.BAD_VALUE, `${name} is not UTF-8`);
        }
      } else {
        if (number < 1 || number > maxSamples) throw new DamagedRecord(DAMAGE.BAD_VALUE, `${number} samples`);
        values[name] = unpackSamples(view, take(name, number * SAMPLE_SIZE), number);
      }
    } else {
      const at = take(name, TYPE_SIZES[type]);
      values[name] = readFixed(view, payload, at, type);
      if (type === "f32" && !Number.isFinite(values[name])) {
        throw new DamagedRecord(DAMAGE.BAD_VALUE, `${name} is no number`);
      }
      if (followsSeconds(name, previous) && !(values[name] >= 0 && values[name] <= MAX_US)) {
        throw new DamagedRecord(DAMAGE.BAD_VALUE, `${name} is over ${MAX_US}`);
      }
    }
    previous = name;
  }
  if (place < payload.length && !extraAllowed) {
    throw new DamagedRecord(DAMAGE.BAD_LENGTH, `${payload.length - place} bytes too many`);
  }
  return values;
}

function readFixed(view, payload, at, type) {
  switch (type) {
    case "u8": return view.getUint8(at);
    case "u16": return view.getUint16(at, true);
    case "u32": return view.getUint32(at, true);
    case "i24": return view.getUint16(at, true) + view.getInt8(at + 2) * 65536;
    case "f32": return view.getFloat32(at, true);
    default: return payload.slice(at, at + TYPE_SIZES[type]);
  }
}

function unpackSamples(view, at, number) {
  const block = {
    counts: new Int32Array(number), steps: new Uint16Array(number), quality: new Uint8Array(number),
  };
  for (let i = 0; i < number; i++, at += SAMPLE_SIZE) {
    const stamp = view.getUint16(at + 3, true);
    block.counts[i] = view.getUint16(at, true) | (view.getInt8(at + 2) << 16);
    block.steps[i] = stamp & LIMITS.MAX_STEP;
    block.quality[i] = stamp >> 13;
  }
  if (block.steps[0]) throw new DamagedRecord(DAMAGE.BAD_VALUE, "the first sample has a step");
  return block;
}

function unpackMeans(view, at, many) {
  const i24 = (place) => view.getUint16(place, true) | (view.getInt8(place + 2) << 16);
  const means = [];
  for (let i = 0; i < many; i++, at += MEAN_SIZE) {
    const stamp = view.getUint16(at, true);
    means.push({
      number: stamp & LIMITS.MAX_STEP, quality: stamp >> 13, step_ms: view.getUint16(at + 2, true),
      mean: i24(at + 4), lowest: i24(at + 7), highest: i24(at + 10),
    });
  }
  if (means[0].step_ms) throw new DamagedRecord(DAMAGE.BAD_VALUE, "the first mean has a step");
  if (means.some(({ number }) => !number)) throw new DamagedRecord(DAMAGE.BAD_VALUE, "a mean of no samples");
  return means;
}

/** The bytes of `values` in the order of `fields`. Throws RangeError naming the field that is missing or does not fit. */
export function writeFields(fields, values, { maxSamples = LIMITS.MAX_SAMPLES } = {}) {
  const out = [];
  let previous = "";
  for (const [name, type] of fields) {
    const value = values[name];
    if (value === undefined || value === null) throw new RangeError(`${name} is missing`);
    if (type === "rest") out.push(...value);
    else if (type === "text") writeText(out, name, value);
    else if (type === "samples") writeSamples(out, name, value, maxSamples);
    else if (type === "means") writeMeans(out, name, value);
    else if (type.startsWith("bytes")) {
      if (value.length !== TYPE_SIZES[type]) throw new RangeError(`${name} has ${value.length} bytes`);
      out.push(...value);
    } else if (type === "f32") {
      if (!Number.isFinite(value)) throw new RangeError(`${name} is no number`);
      const view = new DataView(new ArrayBuffer(4));
      view.setFloat32(0, value, true);
      if (!Number.isFinite(view.getFloat32(0, true))) throw new RangeError(`${name} is too large`);
      out.push(...new Uint8Array(view.buffer));
    } else {
      const size = TYPE_SIZES[type];
      const low = type === "i24" ? LIMITS.RAIL_LOW : 0;
      const high = followsSeconds(name, previous) ? MAX_US : type === "i24" ? LIMITS.RAIL_HIGH : 2 ** (8 * size) - 1;
      if (!Number.isInteger(value) || value < low || value > high) throw new RangeError(`${name} cannot be ${value}`);
      for (let i = 0; i < size; i++) out.push(Math.floor(value / 2 ** (8 * i)) & 0xff);
    }
    previous = name;
  }
  return Uint8Array.from(out);
}

function writeText(out, name, value) {
  // With the flag u only a surrogate without its partner matches, which UTF-8 cannot hold.
  if (typeof value !== "string" || /[\ud800-\udfff]/u.test(value)) throw new RangeError(`${name} is no text`);
  const raw = new TextEncoder().encode(value);
  if (raw.length > LIMITS.MAX_TEXT) {
    throw new RangeError(`${name} has ${raw.length} bytes; a text may have ${LIMITS.MAX_TEXT}`);
  }
  out.push(raw.length, ...raw);
}

function writeSamples(out, name, { counts, steps, quality }, maxSamples) {
  const number = counts.length;
  if (number < 1 || number > maxSamples || steps.length !== number || quality.length !== number || steps[0]) {
    throw new RangeError(`${name}: ${number} samples, or the first has a step`);
  }
  out.push(number);
  for (let i = 0; i < number; i++) {
    const stamp = quality[i] * 8192 + steps[i];
    if (counts[i] < LIMITS.RAIL_LOW || counts[i] > LIMITS.RAIL_HIGH || steps[i] > LIMITS.MAX_STEP || quality[i] > 7) {
      throw new RangeError(`${name}: sample ${i} does not fit its bits`);
    }
    out.push(counts[i] & 0xff, (counts[i] >> 8) & 0xff, (counts[i] >> 16) & 0xff, stamp & 0xff, stamp >> 8);
  }
}

function writeMeans(out, name, means) {
  if (means.length < 1 || means.length > LIMITS.MAX_MEANS || means[0].step_ms) {
    throw new RangeError(`${name}: ${means.length} means, or the first has a step`);
  }
  out.push(means.length);
  for (const { number, quality, step_ms: step, mean, lowest, highest } of means) {
    if (number < 1 || number > LIMITS.MAX_STEP || quality > 7 || step > 0xffff) {
      throw new RangeError(`${name}: a mean does not fit its bits`);
    }
    const stamp = quality * 8192 + number;
    out.push(stamp & 0xff, stamp >> 8, step & 0xff, step >> 8);
    for (const counts of [mean, lowest, highest]) out.push(counts & 0xff, (counts >> 8) & 0xff, (counts >> 16) & 0xff);
  }
}

/** @type {(name: string) => any} */
const maxSamplesOf = (name) => (name === "PEAK_WINDOW" ? LIMITS.MAX_WINDOW_SAMPLES : LIMITS.MAX_SAMPLES);

/** Turn an unframed record into its object. Throws DamagedRecord; anything else is a bug. */
export function parse(record) {
  check(record);
  const view = new DataView(record.buffer, record.byteOffset, record.byteLength);
  const [kind, version] = record;
  const run = view.getUint16(2, true);
  const index = view.getUint32(4, true);
  const payload = record.subarray(HEADER_SIZE, record.length - CRC_SIZE);
  if (version === 0) throw new DamagedRecord(DAMAGE.BAD_VALUE, "version 0");
  const name = KIND_NAMES.get(kind) ?? null;
  if (name === null) return { name, kind, version, run, index, fields: { payload: payload.slice() } };
  const fields = readFields(FIELDS[name], payload, {
    extraAllowed: version > VERSION, maxSamples: maxSamplesOf(name),
  });
  if (name === "CALIBRATION" && !fields.scale_counts) throw new DamagedRecord(DAMAGE.BAD_VALUE, "scale_counts is 0");
  return { name, kind, version, run, index, fields };
}

/** Turn an object into the bytes of an unframed record. Throws RangeError for a value that its field cannot hold. */
export function build({ name = null, kind = KIND[name], version = VERSION, run = 0, index, fields }) {
  const payload = name === null
    ? fields.payload
    : writeFields(FIELDS[name], fields, { maxSamples: maxSamplesOf(name) });
  const size = HEADER_SIZE + payload.length + CRC_SIZE;
  if (version < 1 || size > LIMITS.MAX_RECORD) throw new RangeError(`version ${version}, ${size} bytes: no record`);
  const record = new Uint8Array(size);
  const view = new DataView(record.buffer);
  view.setUint8(0, kind);
  view.setUint8(1, version);
  view.setUint16(2, run, true);
  view.setUint32(4, index, true);
  record.set(payload, HEADER_SIZE);
  view.setUint32(size - CRC_SIZE, crc32(record, 0, size - CRC_SIZE), true);
  return record;
}

/** The bytes of a command's arguments. Throws RangeError. */
export function packArguments(command, values = {}) {
  return writeFields(ARGUMENTS[command], values);
}

/** The results of an answer without error, by name. Throws DamagedRecord. */
export function unpackResults(command, results = NONE, version = VERSION) {
  return readFields(RESULTS[command], results, { extraAllowed: version > VERSION });
}

/** FILE, framed: what a run file begins with, so that a stray file tells what it is. */
export function fileHead() {
  const fields = { text: `Breakyard run file, protocol ${VERSION}`, table: Uint8Array.from(TABLE) };
  return frame(build({ name: "FILE", index: 0, fields }));
}
