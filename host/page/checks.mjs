// Is all well before a pull? One line each: {mark, what, told}; mark is "good", "look" or "bad", shown as a word and a shape.

import { FAULT, STATE } from "./wire/layout.mjs";

const LOW_BATTERY_MV = 3300; // three cells at 1.1 V each: nearly empty. Common practice, no source.
const FEW_MINUTES = 5;
const OLD_NUMBER_MS = 1500;
const OLD_CALIBRATION_DAYS = 365;

const FAULT_WORDS = Object.freeze({
  SILENT: "the converter does not deliver", SILENT_HIGH: "the converter's data line stays high",
  SILENT_LOW: "the converter's data line stays low", NO_CLOCK: "the converter gets no clock",
  ALL_ONES: "the converter sends nothing but ones", OUT_OF_STEP: "the converter is read out of step",
  ON_HIGH_RAIL: "the converter is at the top of its scale: is a signal wire loose?",
  ON_LOW_RAIL: "the converter is at the bottom of its scale: is a signal wire loose?",
  WRONG_RATE: "the converter runs at a rate that it should not",
});
const FAULT_NAMES = Object.fromEntries(Object.entries(FAULT).map(([name, value]) => [value, name]));

const line = (mark, what, told) => ({ mark, what, told });

/** `state` of a station, and the noise of the zero in newtons if there is one. Unknown is never called good. */
export function checks(state, { nowMs, dayMs, zero, noiseN, stopLoadText, unsaved, canStore, computer }) {
  const { status } = state;
  if (!status) return [line("bad", "Logger", "not connected")];
  const age = nowMs - state.statusAtMs;
  return [
    age > OLD_NUMBER_MS
      ? line("bad", "Newest number", `${(age / 1000).toFixed(1)} s old: the link is slow or lost`)
      : line("good", "Newest number", "fresh"),
    status.fault !== FAULT.NONE || status.state === STATE.FAULT
      ? line("bad", "Converter", FAULT_WORDS[FAULT_NAMES[status.fault]] ?? "it does not deliver")
      : line("good", "Converter", "delivers"),
    rate(status),
    zero === null
      ? line("look", "Zero", "not taken yet: slacken the line and tap Zero")
      : line("good", "Zero", noiseN === null ? "taken" : `taken; one number scatters by ${state.show(noiseN)}`),
    calibration(state, dayMs),
    battery(status),
    room(status),
    state.key === "open"
      ? line("look", "Key", "this logger has none: anyone in reach can read it, and by cable command it")
      : line(state.key === "ours" ? "good" : "look", "Key",
        state.key === "ours" ? "known here" : "not known here: you can watch, not command"),
    state.clockSet ? line("good", "Clock", "set") : line("look", "Clock", "not set; runs carry no time of day"),
    stopLoadText
      ? line("good", "Stop load", `${stopLoadText}: an alarm sounds there`)
      : line("look", "Stop load", "none stated: nothing warns before cell or line are overloaded"),
    computer ? line("good", "Runs", "kept in the computer's session") : canStore === null
      ? line("look", "This phone", "is being asked whether it keeps runs") : canStore
      ? line(unsaved ? "look" : "good", "This phone", unsaved ? `${unsaved} not passed on yet` : "keeps runs")
      : line("bad", "This phone", "keeps nothing (storage refused or full); the logger does: fetch its runs later"),
  ];
}

function rate({ rate_mhz: mhz }) {
  if (!mhz) return line("look", "Rate", "not measured yet");
  const hz = mhz / 1000;
  return hz < 40
    ? line("bad", "Rate", `${hz.toFixed(0)} a second: the converter's RATE pin is low; a break may be missed`)
    : line("good", "Rate", `${hz.toFixed(0)} a second`);
}

function calibration(state, dayMs) {
  const made = state.calibration;
  if (!made) return line("bad", "Calibration", "none: numbers are counts, not loads");
  if (!made.made_s) return line("look", "Calibration", `${made.name}, of unknown date`);
  const days = Math.floor((dayMs / 1000 - made.made_s) / 86_400);
  const age = days < 1 ? "today" : days === 1 ? "yesterday" : `${days} days ago`;
  return line(days > OLD_CALIBRATION_DAYS ? "look" : "good", "Calibration", `${made.name}, made ${age}`);
}

function battery({ battery_mv: mv, lowest_battery_mv: lowest }) {
  if (!mv) return line("look", "Battery", "not measured");
  const volts = (mv / 1000).toFixed(2);
  return Math.min(mv, lowest || mv) < LOW_BATTERY_MV
    ? line("bad", "Battery", `${volts} V: change it before the pull`)
    : line("good", "Battery", `${volts} V`);
}

function room({ seconds_left: seconds }) {
  const minutes = Math.floor(seconds / 60);
  return minutes < FEW_MINUTES
    ? line("bad", "Store", `${minutes} min left: fetch and erase old runs`)
    : line("good", "Store", minutes > 600 ? "more than 10 h left" : `${minutes} min left`);
}
