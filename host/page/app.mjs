// Puts the page together: chooses the way to the logger, hands its news to the views, keeps what a person has set.

import { checks } from "./checks.mjs";
import { BluetoothLink, chooseLogger, lacksBluetooth } from "./link/bluetooth.mjs";
import { choosePort, lacksSerial, SerialLink } from "./link/serial.mjs";
import { UNITS } from "./live.mjs";
import * as sound from "./sound.mjs";
import { Alone } from "./station/alone.mjs";
import { openStore } from "./store.mjs";
import { Board } from "./views/board.mjs";
import { $, make, say } from "./views/dom.mjs";
import { KeptView } from "./views/kept.mjs";
import { PullView, typed, words } from "./views/pull.mjs";

const SHAPES = { good: "●", look: "▲", bad: "■" };
const MARK_WORDS = { good: "well", look: "look", bad: "not well" };

const settings = {
  get(name, otherwise) {
    try { return localStorage.getItem(name) ?? otherwise; } catch { return otherwise; }
  },
  set(name, value) {
    try { localStorage.setItem(name, value); } catch { /* a private window keeps nothing; the page works all the same */ }
  },
};

const computerAddress = document.querySelector('meta[name="breakyard-computer"]')?.getAttribute("content");
const pull = new PullView(new Board(), trouble);
const kept = new KeptView(() => drawChecks());
let store; // undefined until it was tried, null where the browser keeps nothing
let station = null;

let tapped = ""; // what went wrong with the latest thing that a person did

/** Say what went wrong with what a person did; "" when it went well. */
function trouble(text) {
  tapped = text;
  drawTrouble();
}

function drawTrouble() {
  const text = station?.state.trouble || tapped;
  $("trouble").hidden = !text;
  say($("trouble"), text);
  $("reload").hidden = !station?.state.reload;
}

/** How the logger is reached, in a line; drawn twice a second, since a number grows old without any news. */
function drawLink() {
  const { state } = station;
  const age = performance.now() - state.statusAtMs;
  const fresh = state.status && age < 1500;
  const shape = state.link === "on" && fresh ? "●" : state.link === "off" ? "■" : "▲";
  const said = {
    off: "not connected", connecting: "connecting ...", lost: "link lost, the logger records on",
    on: fresh ? "connected" : "connected, no fresh number",
  }[state.link];
  say($("link-line"), `${shape} ${[state.name, said].filter(Boolean).join(": ")}`);
}

function drawChecks() {
  const seen = checks({ ...station.state, show: (newtons) => words(newtons, pull.unit) }, {
    nowMs: performance.now(), dayMs: Date.now(), zero: pull.zero, noiseN: pull.noiseN,
    stopLoadText: pull.stopLoadN === null ? "" : words(pull.stopLoadN, pull.unit),
    unsaved: kept.unsaved, canStore: store === undefined ? null : Boolean(store), computer: Boolean(computerAddress),
  });
  const line = ({ mark, what, told }) => make("li", { className: mark },
    make("span", { className: "shape", ariaHidden: "true" }, SHAPES[mark]), make("b", {}, what), make("span", {}, `${MARK_WORDS[mark]}: ${told}`));
  const well = seen.filter(({ mark }) => mark === "good");
  fill($("checks"), seen.filter(({ mark }) => mark !== "good").map(line));
  fill($("well-lines"), well.map(line));
  say($("well"), well.length === seen.length ? `${SHAPES.good} All ${well.length} are well` : `${SHAPES.good} ${well.length} of ${seen.length} are well`);
}

/** Put lines into a list, unless they are there already: a screen reader and a finger are not disturbed twice a second. */
function fill(list, lines) {
  if (list.textContent !== lines.map((line) => line.textContent).join("")) list.replaceChildren(...lines);
}

function drawState() {
  const { state } = station;
  drawTrouble();
  const on = state.link === "on";
  $("key-form").hidden = !(on && state.key === "unknown" && !computerAddress && store);
  $("code-form").hidden = !(on && computerAddress && !state.mayCommand);
  for (const button of $("ways").children) button.hidden = state.link !== "off";
  $("leave").hidden = state.link === "off" || Boolean(computerAddress);
  $("join").hidden = on && $("key-form").hidden && $("code-form").hidden;
  $("simulate").hidden = !(state.simulates && state.mayCommand);
  const { session } = state;
  if (session) {
    const options = (session.specimens ?? []).map((id) => make("option", { value: id }));
    if ($("specimens").children.length !== options.length) $("specimens").replaceChildren(...options);
    if (session.next && !$("specimen").value) $("specimen").value = session.next;
    if (session.unit && !settings.get("unit", "")) setUnit(session.unit);
    pull.holds = session.holds ?? {};
    if (session.stop_load_n && pull.stopLoadN === null) setStopLoad(session.stop_load_n);
  }
  drawChecks();
  drawLink();
}

function setUnit(unit) {
  pull.unit = unit;
  $("unit").value = unit;
  say($("stop-unit"), unit);
  if (pull.stopLoadN !== null) $("stop-load").value = Number((pull.stopLoadN / UNITS[unit]).toPrecision(4));
  kept.redraw(unit);
  if (station) pull.draw();
}

function setStopLoad(newtons) {
  pull.setStopLoad(newtons);
  $("stop-load").value = newtons === null ? "" : Number((newtons / UNITS[pull.unit]).toPrecision(4));
}

function follow(next) {
  station = next;
  station.addEventListener("change", drawState);
  station.addEventListener("kept", () => drawChecks());
  pull.follow(station);
  pull.draw();
  drawState();
}

/** The next frame is on the screen. */
const painted = () => new Promise((resolve) => requestAnimationFrame(() => setTimeout(resolve, 0)));

/**
 * Open what keeps the runs, once the buttons are there: it writes to the disk, which takes as long as all else at the start.
 * A logger can be reached meanwhile; what needs the store waits for it.
 */
async function keepingPlace() {
  await painted();
  const opened = await openStore();
  store = opened.store;
  if (opened.reason) say($("join-words"), opened.reason);
  return store;
}

/** One way to the logger as a button, or the reason why this browser does not have it. */
function addWay(text, lacks, choose, open) {
  if (lacks) return make("p", {}, `${text}: ${lacks}`);
  return make("button", {
    type: "button",
    onclick: async () => {
      sound.start();
      try {
        const chosen = await choose();
        await station.join(open(chosen));
      } catch (error) {
        // Nothing chosen is no trouble.
        if (error.name !== "NotFoundError") trouble(error.message);
      }
    },
  }, text);
}

/** Keep the screen on; the browser lets go of it whenever the page is hidden, so it is asked for again. */
async function stayAwake() {
  if (!navigator.wakeLock || document.visibilityState !== "visible") return;
  try {
    await navigator.wakeLock.request("screen");
  } catch {
    say($("join-words"), "The screen may go dark (battery saver?): the logger records all the same.");
  }
}

async function readKey(text) {
  const digits = text.replace(/\s/g, "");
  if (!/^[0-9a-fA-F]{64}$/.test(digits)) throw new Error("a key has 64 signs, 0 to 9 and a to f; this is none");
  await station.keepKey(Uint8Array.from(digits.match(/../g), (pair) => parseInt(pair, 16)));
}

async function keyByCamera() {
  const video = $("key-video");
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  video.srcObject = stream;
  video.hidden = false;
  await video.play();
  const detector = new /** @type {any} */ (globalThis).BarcodeDetector({ formats: ["qr_code"] });
  try {
    while (!video.hidden) {
      const [code] = await detector.detect(video);
      if (code) {
        await readKey(code.rawValue);
        return;
      }
      await new Promise(requestAnimationFrame);
    }
  } finally {
    for (const track of stream.getTracks()) track.stop();
    video.hidden = true;
  }
}

function wire() {
  $("unit").append(...Object.keys(UNITS).map((unit) => make("option", { value: unit }, unit)));
  $("unit").addEventListener("change", () => {
    settings.set("unit", $("unit").value);
    setUnit($("unit").value);
    drawChecks();
  });
  $("stop-load").addEventListener("change", () => {
    const newtons = typed($("stop-load").value, pull.unit);
    if ($("stop-load").value.trim() && newtons === null) trouble("a stop load is a number above 0");
    else trouble("");
    setStopLoad(newtons);
    settings.set("stop-load-n", newtons ?? "");
    drawChecks();
  });
  $("reload").addEventListener("click", () => location.reload());
  $("key-form").addEventListener("submit", (event) => {
    event.preventDefault();
    readKey($("key").value).then(() => { $("key").value = ""; }, (error) => trouble(error.message));
  });
  if ("BarcodeDetector" in globalThis) {
    $("key-camera").hidden = false;
    $("key-camera").addEventListener("click", () => keyByCamera().catch((error) => trouble(error.message)));
  }
  $("code-form").addEventListener("submit", (event) => {
    event.preventDefault();
    sound.start();
    const code = $("code").value.trim();
    station.pair(code).then(() => settings.set("code", code), (error) => trouble(error.message));
  });
  $("theme").addEventListener("click", () => setTheme(document.documentElement.dataset.theme === "dark" ? "sun" : "dark"));
  document.addEventListener("visibilitychange", stayAwake);
  document.addEventListener("pointerdown", () => { sound.start(); stayAwake(); }, { once: true });
}

function setTheme(theme) {
  document.documentElement.dataset.theme = theme;
  $("theme").setAttribute("aria-pressed", String(theme === "dark"));
  settings.set("theme", theme);
  if (station) { pull.repaint(); kept.redraw(pull.unit); }
}

async function start() {
  setTheme(settings.get("theme", "sun"));
  wire();
  setUnit(UNITS[settings.get("unit", "kgf")] ? settings.get("unit", "kgf") : "kgf");
  const stop = Number(settings.get("stop-load-n", ""));
  if (stop > 0) setStopLoad(stop);
  if (computerAddress) {
    const address = new URL(computerAddress, location.href);
    address.protocol = address.protocol === "https:" ? "wss:" : "ws:";
    // The code may stand behind the # of the address, which is sent to nobody; then it is taken out of sight.
    const given = new URLSearchParams(location.hash.slice(1)).get("code");
    if (given) {
      settings.set("code", given);
      history.replaceState(null, "", location.pathname);
    }
    $("ways").append(make("span", { id: "leave", hidden: true }));
    const { Computer } = await import("./station/computer.mjs");
    const computer = new Computer(address.href, settings.get("code", ""));
    follow(computer);
    kept.follow(computer, null);
    await computer.join();
  } else {
    const opening = keepingPlace();
    $("ways").append(
      addWay("Bluetooth", lacksBluetooth(), chooseLogger, (device) => new BluetoothLink(device)),
      addWay("Cable", lacksSerial(), choosePort, (port) => new SerialLink(port)),
    );
    document.querySelector("main").append(make("button", { id: "leave", type: "button", hidden: true, onclick: () => station.leave() }, "Let the logger go"));
    follow(new Alone(opening));
    kept.follow(station, opening).then(drawState);
    // Only where a page may have one: https, or this very device.
    opening.then(() => navigator.serviceWorker?.register("sw.mjs", { type: "module" }).catch(() => {
      say($("join-words"), "This page will not start without a network (the browser refused to keep it).");
    }));
  }
  setInterval(() => { drawLink(); drawChecks(); }, 500);
  document.documentElement.dataset.ready = "yes";
}

start();
