// The pull itself: the live number and the largest so far, zero, stop load, waiting, stopping.

import { Curve } from "../curve.mjs";
import { HoldClock, holdWords, loadN, shown, UNITS, Watch, zeroFrom } from "../live.mjs";
import * as sound from "../sound.mjs";
import { STATE } from "../wire/layout.mjs";
import { $, onHold, say } from "./dom.mjs";

const ZERO_MS = 2000; // a zero is the mean of at most this long
const LIVE_S = 30; // how much of the live curve is shown
const BREAK_THRESHOLDS = 2; // a fall from less than twice the trigger's threshold is no break

export class PullView {
  zero = null; // {counts, spread} taken by a tap
  stopLoadN = null;
  unit = "kgf";
  largestN = -Infinity;
  #station = null;
  #board;
  #baseline = null; // the logger's own zero of the latest pull
  #latest = []; // [ms, counts] that a zero would be taken from
  #time = [];
  #load = [];
  #curve = new Curve($("live"));
  #watch = new Watch();
  /** @type {Record<string, {load_n: number, for_s: number}>} what is asked of each specimen */
  holds = {};
  #hold = null; // {clock, for_s} of the pull under way
  #wasState = null;
  #loadNow = null;
  #onTrouble;
  #drawing = false;

  constructor(board, onTrouble) {
    this.#board = board;
    this.#onTrouble = onTrouble;
    $("arm").addEventListener("click", () => { sound.start(); this.#arm(); });
    $("zero").addEventListener("click", () => { sound.start(); this.takeZero(); });
    $("board").addEventListener("click", () => { sound.start(); this.#board.open(); this.draw(); });
    $("simulate").addEventListener("click", () => { sound.start(); this.#try(() => this.#station.simulate()); });
    $("mark-form").addEventListener("submit", (event) => {
      event.preventDefault();
      const text = $("mark").value.trim();
      if (text) this.#try(async () => { await this.#station.mark(text); $("mark").value = ""; });
    });
    $("weigh").addEventListener("click", () => {
      sound.start();
      this.#try(() => (this.#weighing ? this.#station.stop() : this.#station.weigh()));
    });
    onHold($("stop"), () => this.#try(() => this.#station.stop()));
  }

  follow(station) {
    this.#station = station;
    station.addEventListener("status", () => this.#took());
    station.addEventListener("change", () => this.draw());
    this.zero = this.#baseline = null;
    this.#latest = [];
    this.#time = [];
    this.#load = [];
  }

  /** Newtons by which one number scatters, or null. */
  get noiseN() {
    const { calibration } = this.#station?.state ?? {};
    if (!calibration || !this.zero) return null;
    return Math.abs(loadN(calibration, this.zero.counts + this.zero.spread, this.zero.counts));
  }

  /** Counts that are taken for no load: what was tapped, else the logger's own baseline of the latest pull. */
  get zeroCounts() {
    return this.zero ? this.zero.counts : this.#baseline;
  }

  takeZero() {
    const zero = zeroFrom(this.#latest.map(([, counts]) => counts));
    if (!zero) {
      this.#onTrouble("no numbers to take a zero from yet; wait a second");
      return;
    }
    this.zero = zero;
    this.#time = [];
    this.#load = [];
    this.#begin();
    this.draw();
  }

  /** Whether something is being weighed, as far as logger and computer say. */
  get #weighing() {
    const { status, purpose } = this.#station.state;
    return status?.state === STATE.RECORDING && purpose === "weighing";
  }

  #begin() {
    const { settings, calibration } = this.#station.state;
    const zero = this.zeroCounts ?? 0;
    const threshold = settings && calibration ? Math.abs(loadN(calibration, zero + settings.threshold_counts, zero)) : 0;
    this.#watch = new Watch({ stopLoadN: this.stopLoadN, leastN: BREAK_THRESHOLDS * threshold });
    this.largestN = -Infinity;
    const asked = this.holds[$("specimen").value.trim()];
    this.#hold = asked ? { clock: new HoldClock(asked.load_n), for_s: asked.for_s } : null;
  }

  setStopLoad(newtons) {
    this.stopLoadN = newtons;
    this.#watch.stopLoadN = newtons;
    this.#watch.stopPassed = false;
  }

  async #arm() {
    await this.#try(() => this.#station.arm($("specimen").value.trim(), this.stopLoadN));
  }

  async #try(act) {
    try {
      await act();
      this.#onTrouble("");
    } catch (error) {
      this.#onTrouble(error.message);
    }
  }

  #took() {
    const { status, statusAtMs, calibration } = this.#station.state;
    if (status.state !== this.#wasState) {
      const started = status.state === STATE.RECORDING && this.#wasState !== STATE.ARMED;
      if (status.state === STATE.ARMED || started) this.#begin();
      this.#wasState = status.state;
    }
    if (status.state === STATE.ARMED || status.state === STATE.RECORDING) this.#baseline = status.baseline_counts;
    this.#latest = this.#latest.filter(([ms]) => statusAtMs - ms < ZERO_MS);
    this.#latest.push([statusAtMs, status.counts]);
    const zero = this.zeroCounts;
    this.#loadNow = calibration && zero !== null ? loadN(calibration, status.counts, zero) : null;
    if (this.#loadNow !== null) {
      let most = this.#loadNow;
      if (status.state === STATE.RECORDING) {
        // The logger's own extreme has seen every sample; the number has seen one of eight.
        most = Math.max(most, loadN(calibration, status.extreme_counts, zero));
      }
      this.largestN = Math.max(this.largestN, most);
      this.#hold?.clock.take(this.#loadNow, statusAtMs);
      const news = this.#watch.take(this.#loadNow, statusAtMs);
      if (news === "break") sound.tellBreak();
      else if (news === "stop load") sound.tellStopLoad();
      const t = statusAtMs / 1000;
      this.#time.push(t);
      this.#load.push(this.#loadNow);
      while (this.#time.length && this.#time[0] < t - LIVE_S) {
        this.#time.shift();
        this.#load.shift();
      }
    }
    if (!this.#drawing) {
      this.#drawing = true;
      requestAnimationFrame(() => { this.#drawing = false; this.draw(); });
    }
  }

  /** The colours have changed. */
  repaint() {
    this.#curve.draw();
    this.draw();
  }

  draw() {
    const { state } = this.#station;
    const { status } = state;
    const armed = status?.state === STATE.ARMED;
    const recording = status?.state === STATE.RECORDING;
    const old = performance.now() - state.statusAtMs > 1500;
    $("now").classList.toggle("counts", Boolean(status) && !old && this.#loadNow === null);
    say($("lamp"), !status ? "■ no logger" : recording ? "● the logger is recording" : armed ? "▲ waiting for the pull" : "■ idle");
    if (!status || old) {
      say($("number"), "-");
      say($("number-unit"), status ? "(number too old)" : "");
    } else if (this.#loadNow === null) {
      say($("number"), String(status.counts));
      say($("number-unit"), state.calibration ? "counts: tap Zero" : "counts: no calibration");
    } else {
      const { text, unit } = shown(this.#loadNow, this.unit);
      say($("number"), text);
      say($("number-unit"), unit);
    }
    say($("largest-number"), this.largestN > -Infinity ? words(this.largestN, this.unit) : "-");
    const hold = this.#weighing ? null : this.#hold; // what is weighed is no specimen
    $("hold").hidden = hold === null;
    if (hold) {
      const { clock, for_s: whole } = hold;
      say($("hold"), `At or above ${words(clock.loadN, this.unit)}: ${holdWords(clock, whole)}`);
    }
    const may = state.mayCommand && state.link === "on" && Boolean(status);
    $("arm").disabled = !may || armed || recording;
    $("weigh").disabled = !may || armed || (recording && !this.#weighing);
    say($("weigh"), this.#weighing ? "End the weighing" : "Begin to weigh");
    say($("simulate"), this.#weighing ? "Hang something on" : "Simulate a pull");
    $("stop").disabled = !may || !(armed || recording);
    $("mark-form").querySelector("button").disabled = !may || !recording;
    $("arm").classList.toggle("main", may && !armed && !recording);
    if (this.#time.length > 1) this.#curve.show({ time: this.#time, load: this.#load }, this.unit);
    if (this.#board.isOpen) {
      const figure = old || this.#loadNow === null ? { text: "----", unit: old ? "no fresh number" : "no zero or calibration" } : shown(this.#loadNow, this.unit);
      const most = this.largestN > -Infinity ? `largest ${words(this.largestN, this.unit)}` : "";
      const stop = this.stopLoadN !== null && this.#loadNow >= this.stopLoadN ? "STOP LOAD PASSED  " : "";
      const held = hold ? `   ${holdWords(hold.clock, hold.for_s)}` : "";
      this.#board.show(figure.text, `${stop}${figure.unit}   ${most}${held}`);
    }
  }
}

export function words(newtons, unit) {
  const { text, unit: name } = shown(newtons, unit);
  return `${text} ${name}`;
}

/** Newtons of what was typed in a unit: a number above 0, or null. A comma is taken for a point. */
export function typed(text, unit) {
  const value = Number(text.trim().replace(",", "."));
  return text.trim() && value > 0 && Number.isFinite(value) ? value * UNITS[unit] : null;
}
