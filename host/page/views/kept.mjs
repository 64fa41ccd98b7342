// The pulls that are here: each with its curve, what can be said of it so far, and what a person adds.

import { Curve } from "../curve.mjs";
import { UNITS } from "../live.mjs";
import { filesOf, handOn } from "../share.mjs";
import { $, make, say } from "./dom.mjs";
import { words } from "./pull.mjs";

/** What only a pull or a weighing that is here needs, and no start: asked for when one is. */
const weighing = () => import("../weighing.mjs");

const OUTCOMES = ["broke", "did not break", "slipped"];
const BREAK_S = 0.3;

export class KeptView {
  unit = "kgf";
  #store = null;
  #station = null;
  #cards = new Map();
  #onChange;

  constructor(onChange) {
    this.#onChange = onChange;
    $("pass-on").addEventListener("click", () => this.#passOn());
  }

  /** Runs that were not passed on yet. */
  unsaved = 0;

  /** `opening`: promises where the runs are kept, or null. */
  async follow(station, opening) {
    this.#station = station;
    $("runs").replaceChildren();
    this.#cards.clear();
    if (station.readings) {
      for (const one of station.readings.values()) this.#read(one);
      station.addEventListener("reading", ({ detail }) => this.#read(detail));
      this.#tell();
      return;
    }
    this.#store = await opening;
    station.addEventListener("kept", ({ detail }) => this.#kept(detail));
    for (const run of (await this.#store?.runs()) ?? []) await this.#kept(run.key);
    this.#tell();
  }

  redraw(unit) {
    this.unit = unit;
    for (const card of this.#cards.values()) card.show(unit);
  }

  async #kept(key) {
    const run = await this.#store?.run(key);
    if (!run) return;
    if (!run.calibration && this.#station.state.calibration && this.#station.state.serial === run.serial) {
      run.calibration = this.#station.state.calibration;
      await this.#store.put(run);
    }
    const { look } = await import("../afterwards.mjs"); // not needed for a start
    const seen = await look(await this.#store.bytes(key), run.calibration);
    const title = run.purpose === "weighing" ? "Weighed" : run.specimen || `run ${run.run}`;
    const { weighedAlone } = await weighing();
    const card = this.#card(key, title, new Date(run.at), run, async (values) => {
      Object.assign(run, values, { exported: false });
      await this.#store.put(run);
      this.#tell();
    });
    card.fill({ data: seen && { ...seen, peak: null }, lines: aloneWords(seen, run, weighedAlone) });
    card.show(this.unit);
    this.#tell();
  }

  async #read(reading) {
    const { weighedWords } = await weighing();
    const card = this.#card(reading.name, reading.weighed ? `Weighed, ${reading.name}` : reading.specimen || reading.name, null, reading,
      (values) => this.#station.note(reading.name, values).catch((error) => card.trouble(error.message)));
    const lines = reading.weighed ? (unit) => weighedWords(reading, unit) : readWords(reading);
    card.fill({ data: curveOf(reading), lines });
    card.show(this.unit);
    this.#tell();
  }

  #card(key, title, at, said, keep) {
    let card = this.#cards.get(key);
    if (!card) {
      card = new Card(title, at, said, keep);
      this.#cards.set(key, card);
      for (const older of $("runs").querySelectorAll("details[open]")) older.open = false; // the newest is looked at
      $("runs").prepend(card.element);
    }
    return card;
  }

  async #tell() {
    if (this.#station.readings) {
      const many = this.#cards.size;
      say($("kept-words"), many ? `${many} in the computer's session.` : "None yet. What the computer reads of a pull appears here.");
      return;
    }
    const runs = (await this.#store?.runs()) ?? [];
    const waiting = runs.filter((run) => !run.exported);
    this.unsaved = waiting.length;
    say($("kept-words"), !this.#store
      ? "This browser keeps nothing: the logger does. Fetch its runs with the computer."
      : !runs.length ? "None yet."
        : `${runs.length} kept in this browser, ${waiting.length} of them not passed on yet. "breakyard import" on a computer takes both files and reads the peak with its interval.`);
    $("pass-on").hidden = !runs.length;
    say($("pass-on"), waiting.length ? `Pass on ${waiting.length}` : "Pass all on again");
    this.#onChange();
  }

  async #passOn() {
    const runs = await this.#store.runs();
    const waiting = runs.filter((run) => !run.exported);
    const chosen = waiting.length ? waiting : runs;
    if (!(await handOn(await filesOf(this.#store, chosen)))) return;
    for (const run of chosen) await this.#store.put({ ...run, exported: true });
    this.#tell();
  }
}

class Card {
  #peak = make("span", { className: "peak" });
  #lines = make("div");
  #trouble = make("p", { role: "alert", hidden: true });
  #canvas = make("canvas", { role: "img" });
  #views;
  #curve = new Curve(this.#canvas);
  #data = null;
  /** @type {(unit: string) => {peak: string, lines: string[]}} */
  #words = () => ({ peak: "", lines: [] });

  constructor(title, at, said, keep) {
    const view = (text, act) => make("button", { type: "button", onclick: act }, text);
    const outcomes = OUTCOMES.map((text) => {
      const button = view(text, () => {
        for (const other of outcomes) other.setAttribute("aria-pressed", String(other === button));
        keep({ outcome: text });
      });
      button.setAttribute("aria-pressed", String(said.outcome === text));
      return button;
    });
    const note = make("input", { value: said.note ?? "", maxLength: 500, autocomplete: "off" });
    note.addEventListener("change", () => keep({ note: note.value.trim() }));
    const photo = make("input", { type: "file", accept: "image/*" });
    photo.addEventListener("change", () => photo.files[0] && keep({ photo: photo.files[0] }));
    this.#canvas.setAttribute("aria-label", `Load over time, ${title}`);
    const when = at ? `, ${at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}` : "";
    this.#views = make("div", { className: "row pairs" },
      view("Whole", () => this.#curve.look(null)),
      view("Around the break", () => this.#aroundBreak()),
      make("button", { type: "button", ariaLabel: "closer", onclick: () => this.#curve.zoom(0.5) }, "+"),
      make("button", { type: "button", ariaLabel: "farther", onclick: () => this.#curve.zoom(2) }, "−"));
    this.element = make("li", {}, make("details", { open: true },
      make("summary", {}, make("h3", {}, title, when), this.#peak),
      this.#lines, this.#canvas, this.#views,
      make("div", { className: "row", role: "group", ariaLabel: "How it ended", hidden: Boolean(said.weighed) || said.purpose === "weighing" }, ...outcomes),
      make("div", { className: "row" },
        make("label", {}, "Note ", note),
        make("label", { className: "file" }, "Photo", photo)),
      this.#trouble));
  }

  fill({ data, lines }) {
    this.#data = data;
    this.#words = lines;
  }

  trouble(text) {
    this.#trouble.hidden = !text;
    say(this.#trouble, text);
  }

  show(unit) {
    const { peak, lines } = this.#words(unit);
    say(this.#peak, peak);
    this.#lines.replaceChildren(...lines.map((line) => make("p", {}, line)));
    this.#canvas.hidden = this.#views.hidden = !this.#data;
    if (this.#data) this.#curve.show(this.#data, unit);
  }

  #aroundBreak() {
    const at = this.#data?.peak?.time ?? this.#data?.largest?.time;
    if (at !== undefined) this.#curve.look([at - BREAK_S, at + BREAK_S]);
  }
}

/** What the page alone says of a run: never a peak with an interval, nor a mass. */
function aloneWords(seen, run, weighedAlone) {
  return (unit) => {
    if (!seen) return { peak: "", lines: ["Nothing of this run is here yet."] };
    const ended = seen.cutShort ? [seen.cutShort] : [];
    if (!run.calibration) return { peak: "", lines: [...ended, "No calibration is here, so there is a curve of counts only."] };
    if (run.purpose === "weighing") return weighedAlone(seen.time, seen.load, unit);
    const { largest } = seen;
    const lines = [...ended, "Largest sample, not yet read: the computer's reading gives the peak with its interval."];
    if (seen.clipped) lines.push("It went off the converter's scale: the true peak lies above this.");
    else if (largest.above !== null) {
      lines.push(`The true peak may lie up to ${(100 * largest.above).toFixed(1)} % above it at this rate.`);
    }
    if (largest.load > run.calibration.highest_known_n) lines.push("It lies beyond the highest known load of the calibration.");
    if (!seen.complete) lines.push("The run is not complete here; it is fetched on when the logger is back.");
    return { peak: words(largest.load, unit), lines };
  };
}

function curveOf({ curve, peak }) {
  if (!curve) return null;
  return {
    time: curve.time_s, load: curve.load_n,
    peak: peak && { time: peak.time_s, load: peak.estimate_n, low: peak.low_n, high: peak.high_n ?? undefined },
  };
}

/** A peak as the computer read it: the digits that its interval supports. */
export function peakText(peak, unit) {
  const per = UNITS[unit];
  const [value, low] = [peak.estimate_n / per, peak.low_n / per];
  if (peak.bound === "lower" || peak.high_n === null) return `at least ${floored(low, unit)} ${unit}`;
  const half = (peak.high_n / per - low) / 2;
  const digits = Math.max(0, Math.min(6, 1 - Math.floor(Math.log10(Math.max(half, 1e-9)))));
  const text = (number) => number.toFixed(digits);
  return `${text(value)} ${unit} (${text(low)} to ${text(peak.high_n / per)})`;
}

const floored = (value, unit) => {
  const scale = { kN: 100, tf: 1000, kip: 100 }[unit] ?? 1;
  return (Math.floor(value * scale) / scale).toString();
};

function readWords(reading) {
  return (unit) => {
    if (!reading.peak) return { peak: "", lines: [reading.problem ?? "The computer could not read it."] };
    const coverage = Math.round(100 * reading.peak.coverage);
    return {
      peak: peakText(reading.peak, unit),
      lines: [
        reading.peak.bound === "lower" ? "Peak: only a lower bound is known." : `Peak with its ${coverage} % interval. Measured, not a rating.`,
        reading.manner, ...reading.doubts,
      ].filter(Boolean),
    };
  };
}
