// The curve of a pull on a canvas: whole, or the part that fingers or buttons have chosen. Thick lines, few words.

import { UNITS } from "./live.mjs";

const STEPS = [1, 2, 5];

/** Round steps for an axis from `low` to `high` with at most `most` of them. */
export function ticks(low, high, most) {
  const span = high - low;
  if (!(span > 0)) return [low];
  for (let power = Math.floor(Math.log10(span / most)); ; power++) {
    for (const step of STEPS) {
      const size = step * 10 ** power;
      if (span / size <= most) {
        const first = Math.ceil(low / size - 1e-9);
        return Array.from({ length: Math.floor(high / size + 1e-9) - first + 1 }, (_, i) => (first + i) * size);
      }
    }
  }
}

/**
 * Least and largest of each pixel column, so that no peak is lost however many samples there are: [x, low, high].
 * `time` ascends.
 */
export function columns(time, load, from, to, width) {
  const found = [];
  for (let i = 0; i < time.length; i++) {
    if (time[i] < from || time[i] > to) continue;
    const x = Math.round(((time[i] - from) / (to - from)) * (width - 1));
    const last = found.at(-1);
    if (last && last[0] === x) {
      last[1] = Math.min(last[1], load[i]);
      last[2] = Math.max(last[2], load[i]);
      last[3] = load[i];
    } else {
      found.push([x, load[i], load[i], load[i]]);
    }
  }
  return found;
}

export class Curve {
  #canvas;
  #data = { time: [], load: [], peak: null };
  #unit = "N";
  #view = null; // [from, to] in seconds, null for the whole
  #fingers = new Map();

  constructor(canvas) {
    this.#canvas = canvas;
    canvas.style.touchAction = "pan-y";
    canvas.addEventListener("pointerdown", (event) => this.#fingers.set(event.pointerId, event.offsetX));
    canvas.addEventListener("pointermove", (event) => this.#drag(event));
    for (const name of ["pointerup", "pointercancel", "pointerleave"]) {
      canvas.addEventListener(name, (event) => this.#fingers.delete(event.pointerId));
    }
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  /** Seconds and newtons; `peak`: {time, load, low?, high?, words} or null. */
  show({ time, load, peak = null }, unit) {
    this.#data = { time, load, peak };
    this.#unit = unit;
    this.draw();
  }

  /** Look at the whole (null) or at a part of it, in seconds. */
  look(view) {
    this.#view = view;
    this.draw();
  }

  /** Closer (factor below 1) or farther, about the middle or a place. */
  zoom(factor, about = null) {
    const [from, to] = this.#range();
    const middle = about ?? (from + to) / 2;
    const [first, last] = [this.#data.time[0] ?? 0, this.#data.time.at(-1) ?? 1];
    const next = [Math.max(first, middle + (from - middle) * factor), Math.min(last, middle + (to - middle) * factor)];
    if (next[1] - next[0] > 0.02) this.look(next[0] <= first && next[1] >= last ? null : next);
  }

  #range() {
    const { time } = this.#data;
    return this.#view ?? [time[0] ?? 0, Math.max(time.at(-1) ?? 1, (time[0] ?? 0) + 0.1)];
  }

  #drag(event) {
    const before = this.#fingers.get(event.pointerId);
    if (before === undefined) return;
    if (this.#fingers.size === 2) {
      const [other] = [...this.#fingers].filter(([id]) => id !== event.pointerId).map(([, x]) => x);
      const spread = Math.abs(event.offsetX - other);
      if (spread > 10) {
        const [from, to] = this.#range();
        const middle = from + (((event.offsetX + other) / 2) / this.#canvas.clientWidth) * (to - from);
        this.zoom(Math.abs(before - other) / spread, middle);
      }
    } else if (this.#view) {
      const [from, to] = this.#view;
      const shift = ((before - event.offsetX) / this.#canvas.clientWidth) * (to - from);
      this.look([from + shift, to + shift]);
    }
    this.#fingers.set(event.pointerId, event.offsetX);
  }

  draw() {
    const canvas = this.#canvas;
    const scale = globalThis.devicePixelRatio || 1;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    if (!width || !height) return;
    canvas.width = Math.round(width * scale);
    canvas.height = Math.round(height * scale);
    const pen = canvas.getContext("2d");
    pen.scale(scale, scale);
    const style = getComputedStyle(canvas);
    const [ink, paper] = [style.color, style.backgroundColor];
    pen.fillStyle = paper;
    pen.fillRect(0, 0, width, height);
    const { time, load, peak } = this.#data;
    if (time.length < 2) return;

    const [left, bottom, top] = [56, 26, 12];
    const [from, to] = this.#range();
    const per = UNITS[this.#unit];
    let [low, high] = [0, 0];
    for (let i = 0; i < load.length; i++) {
      if (time[i] < from || time[i] > to) continue;
      low = Math.min(low, load[i] / per);
      high = Math.max(high, load[i] / per);
    }
    if (peak) high = Math.max(high, (peak.high ?? peak.load) / per);
    if (!(high > low)) high = low + 1;
    high += 0.06 * (high - low);
    const across = width - left - 8;
    const up = height - bottom - top;
    const x = (t) => left + ((t - from) / (to - from)) * across;
    const y = (value) => top + up - ((value - low) / (high - low)) * up;

    pen.fillStyle = pen.strokeStyle = ink;
    pen.font = "14px system-ui, sans-serif";
    pen.lineWidth = 1;
    pen.textBaseline = "middle";
    pen.textAlign = "right";
    for (const value of ticks(low, high, 5)) {
      pen.globalAlpha = 0.25;
      pen.beginPath();
      pen.moveTo(left, y(value));
      pen.lineTo(width - 8, y(value));
      pen.stroke();
      pen.globalAlpha = 1;
      pen.fillText(String(Number(value.toPrecision(6))), left - 6, y(value));
    }
    pen.textAlign = "center";
    pen.textBaseline = "bottom";
    const marks = ticks(from - (time[0] ?? 0), to - (time[0] ?? 0), 4);
    for (const t of marks) pen.fillText(`${Number(t.toPrecision(6))} s`, Math.min(x(t + time[0]), width - 24), height - 4);

    pen.save();
    pen.beginPath();
    pen.rect(left, 0, across, height - bottom + 2);
    pen.clip();
    pen.lineWidth = 2.5;
    pen.lineJoin = "round";
    pen.beginPath();
    for (const [column, least, most, last] of columns(time, load, from, to, Math.max(2, Math.round(across)))) {
      pen.lineTo(left + column, y(least / per));
      pen.lineTo(left + column, y(most / per));
      pen.lineTo(left + column, y(last / per));
    }
    pen.stroke();
    if (peak) {
      const [px, py] = [x(peak.time), y(peak.load / per)];
      pen.lineWidth = 3;
      if (peak.high !== undefined) {
        pen.beginPath();
        pen.moveTo(px, y(peak.low / per));
        pen.lineTo(px, y(peak.high / per));
        pen.stroke();
      }
      pen.beginPath();
      pen.arc(px, py, 6, 0, 2 * Math.PI);
      pen.fillStyle = paper;
      pen.fill();
      pen.stroke();
    }
    pen.restore();
  }
}
