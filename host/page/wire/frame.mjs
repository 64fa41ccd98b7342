// Records out of a stream that arrives in pieces of any size, and back. No I/O, no clock: bytes in, records out.
//
// A record is written as 00, stuffed record, 00 (COBS, Cheshire and Baker 1999), so a changed byte never damages two
// records. What comes out never depends on how the stream was cut into pieces.

import { CRC_SIZE, DAMAGE, LIMITS } from "./layout.mjs";

/** Bytes one after another. */
export function join(parts) {
  const whole = new Uint8Array(parts.reduce((size, part) => size + part.length, 0));
  let place = 0;
  for (const part of parts) {
    whole.set(part, place);
    place += part.length;
  }
  return whole;
}

/** Stuffed bytes of the largest record. */
export const LONGEST_BODY = LIMITS.MAX_RECORD + 1;

/** Bytes that are no sound record; `reason` is one of DAMAGE. */
export class DamagedRecord extends Error {
  constructor(reason, message) {
    super(message);
    this.name = "DamagedRecord";
    this.reason = reason;
  }
}

const CRC_TABLE = Uint32Array.from({ length: 256 }, (_, byte) => {
  for (let bit = 0; bit < 8; bit++) byte = byte & 1 ? 0xedb88320 ^ (byte >>> 1) : byte >>> 1;
  return byte;
});

/** CRC-32 of Ethernet and zlib over bytes[begin..end). */
export function crc32(bytes, begin = 0, end = bytes.length) {
  let crc = 0xffffffff;
  for (let i = begin; i < end; i++) crc = CRC_TABLE[(crc ^ bytes[i]) & 0xff] ^ (crc >>> 8);
  return (crc ^ 0xffffffff) >>> 0;
}

/** The bytes of a record without zeros, one byte longer. */
export function stuff(record) {
  const out = new Uint8Array(record.length + 1 + Math.floor(record.length / 254));
  let code = 0;
  let at = 1;
  for (let i = 0; i < record.length; i++) {
    if (record[i]) out[at++] = record[i];
    const full = at - code === 255;
    if (record[i] && !(full && i + 1 < record.length)) continue;
    out[code] = at - code;
    code = at++;
  }
  out[code] = at - code;
  return out.subarray(0, at);
}

/** Undo `stuff`. Throws DamagedRecord (BAD_STUFFING). */
export function unstuff(body) {
  const out = new Uint8Array(Math.max(0, body.length - 1));
  let size = 0;
  for (let place = 0; place < body.length;) {
    const code = body[place];
    const next = place + code;
    if (!code || next > body.length) throw new DamagedRecord(DAMAGE.BAD_STUFFING, `code ${code} points past the end`);
    out.set(body.subarray(place + 1, next), size);
    size += code - 1;
    if (next < body.length && code < 255) size++;
    place = next;
  }
  return out.subarray(0, size);
}

/** Throw DamagedRecord unless size and checksum are those of a record. */
export function check(record) {
  if (record.length < LIMITS.MIN_RECORD) throw new DamagedRecord(DAMAGE.TOO_SHORT, `${record.length} bytes`);
  if (record.length > LIMITS.MAX_RECORD) throw new DamagedRecord(DAMAGE.TOO_LONG, `${record.length} bytes`);
  const end = record.length - CRC_SIZE;
  const told = (record[end] | (record[end + 1] << 8) | (record[end + 2] << 16) | (record[end + 3] << 24)) >>> 0;
  if (told !== crc32(record, 0, end)) throw new DamagedRecord(DAMAGE.BAD_CHECKSUM, "the CRC does not agree");
}

/** The bytes of one record as they go over a link or into a file. */
export function frame(record) {
  const body = stuff(record);
  const out = new Uint8Array(body.length + 2);
  out.set(body, 1);
  return out;
}

/** The record of one stretch between delimiters, checksum checked. Throws DamagedRecord. */
export function unframe(body) {
  if (body.length > LONGEST_BODY) throw new DamagedRecord(DAMAGE.TOO_LONG, `${body.length} stuffed bytes`);
  const record = unstuff(body);
  check(record);
  return record;
}

/**
 * Feed it with receive, drain it with next until null. A result is {record, offset} or {damaged: {offset, length, reason}},
 * offsets counted from the beginning of the stream.
 */
export class FrameReader {
  #body = new Uint8Array(LONGEST_BODY + 1);
  #length = 0; // of the stretch so far; what is over LONGEST_BODY + 1 is only counted
  #offset = 0; // of the next byte within the stream
  #input = new Uint8Array(0);
  #place = 0;
  #ended = false;

  /** Take the next bytes of the stream, as many as there are. */
  receive(bytes) {
    if (this.#place < this.#input.length) {
      this.#input = join([this.#input.subarray(this.#place), bytes]);
    } else {
      this.#input = bytes.slice();
    }
    this.#place = 0;
  }

  /** The stream has ended: what lacks its last delimiter is judged like any other stretch. */
  end() {
    this.#ended = true;
  }

  /** The next record (checksum agrees) or damaged stretch, or null when everything received was given out. */
  next() {
    for (;;) {
      const from = this.#place;
      const zero = this.#input.indexOf(0, from);
      const to = zero < 0 ? this.#input.length : zero;
      const room = Math.max(0, this.#body.length - this.#length);
      this.#body.set(this.#input.subarray(from, Math.min(to, from + room)), Math.min(this.#length, this.#body.length));
      this.#length += to - from;
      this.#offset += to - from;
      this.#place = to;
      if (zero < 0 && !(this.#ended && this.#length)) return null;
      const [length, offset] = [this.#length, this.#offset - this.#length];
      this.#length = 0;
      if (zero >= 0) {
        this.#place++;
        this.#offset++;
      }
      if (!length) continue;
      if (length > LONGEST_BODY) return { damaged: { offset, length, reason: DAMAGE.TOO_LONG } };
      try {
        return { record: unframe(this.#body.slice(0, length)), offset };
      } catch (error) {
        if (!(error instanceof DamagedRecord)) throw error;
        return { damaged: { offset, length, reason: error.reason } };
      }
    }
  }
}
