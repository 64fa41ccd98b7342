// The page alone with a logger, by radio or cable: it speaks the protocol itself and keeps the runs in the browser.
//
// A link that breaks is made again without the chooser; the logger records on meanwhile, and the run is fetched from where
// it stopped. What is asked of the logger is asked in order: the client sends one thing at a time.

import { BrowserSilent } from "../link/bluetooth.mjs";
import { alarmCounts } from "../live.mjs";
import { Client, LinkLost, Refused } from "../wire/client.mjs";
import { ERROR, SETTING, STATE } from "../wire/layout.mjs";
import { WrongLogger } from "../wire/seal.mjs";
import { Station } from "./station.mjs";

const WORD_MS = 1000;
const PAUSES_MS = [300, 700, 1500, 3000, 5000];
const CLOCK_EXCHANGES = 5;

const hex = (bytes) => Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
const same = (a, b) => a.length === b.length && a.every((byte, i) => byte === b[i]);

export class Alone extends Station {
  #link = null;
  #client = null;
  #opening;
  #store = null;
  #wanted = false;
  #beat = null;
  #following = null;
  #specimen = "";
  #purpose = "";
  #fetching = null;
  #turn = Promise.resolve();

  /** `opening`: promises where runs are kept, or null where the browser keeps nothing. */
  constructor(opening) {
    super();
    this.#opening = opening;
  }

  /** Connect over a link, and again whenever it breaks, until `leave`. */
  async join(link) {
    await this.leave();
    this.#link = link;
    this.#wanted = true;
    this.set({ link: "connecting", trouble: "", reload: false });
    await this.#meet();
  }

  async leave() {
    this.#wanted = false;
    clearInterval(this.#beat);
    const link = this.#link;
    this.#link = this.#client = null;
    await link?.disconnect();
    this.set({ link: "off", mayCommand: false });
  }

  async #meet() {
    for (let attempt = 0; this.#wanted; attempt++) {
      try {
        await this.#begin();
        return;
      } catch (error) {
        await this.#link?.disconnect();
        if (error instanceof WrongLogger || error instanceof BrowserSilent) {
          this.set({ link: "off", trouble: error.message, reload: error instanceof BrowserSilent });
          return;
        }
        if (!this.#wanted) return;
        this.set({ link: attempt ? "lost" : "connecting", trouble: `${error.message}; trying again` });
        await new Promise((resolve) => setTimeout(resolve, PAUSES_MS[Math.min(attempt, PAUSES_MS.length - 1)]));
      }
    }
  }

  async #begin() {
    const link = this.#link;
    await link.connect();
    this.#store = await this.#opening;
    const client = new Client(link);
    this.#client = client;
    client.onLost = (reason) => this.#lost(client, reason);
    client.onStatus = (status) => this.#status(status);
    await this.#greet(client);
  }

  /** Who is there, under which key, and what it may be asked. */
  async #greet(client) {
    let met = await client.hello();
    let key = null;
    if (!met.identity.serial.some(Boolean) && (key = await this.#unlockSecret(client)) === "ours") met = await client.hello();
    const serial = hex(met.identity.serial);
    key ??= await this.#unlock(client, serial);
    this.set({ name: met.name, serial, settings: met.settings, key });
    clearInterval(this.#beat);
    this.#beat = setInterval(() => client.word().catch(() => {}), WORD_MS);
    const calibration = await this.#asked(client.calibration());
    const mayCommand = await this.#stream(client);
    const clockSet = mayCommand && (await this.#setClock(client));
    this.set({ link: "on", trouble: "", calibration, mayCommand, clockSet });
    if (mayCommand) this.fetchAll();
  }

  /** A logger that tells strangers nothing: it has one of our keys, or is not to be spoken to. */
  async #unlockSecret(client) {
    const keys = (await this.#store?.keys()) ?? [];
    if (!keys.length) return "unknown";
    await client.unlock(keys);
    return "ours";
  }

  async #unlock(client, serial) {
    const key = await this.#store?.keyOf(serial);
    if (key) {
      await client.unlock(key);
      return "ours";
    }
    try {
      await client.ask("CHALLENGE", { host_nonce: crypto.getRandomValues(new Uint8Array(32)) });
      return "unknown";
    } catch (error) {
      if (error instanceof Refused && error.error === ERROR.BAD_STATE) return "open";
      throw error;
    }
  }

  /** What a promise gives, or null where the logger does not let us. */
  async #asked(promise) {
    try {
      return await promise;
    } catch (error) {
      if (error instanceof Refused) return null;
      throw error;
    }
  }

  async #stream(client) {
    return (await this.#asked(client.ask("STREAM", { on: 1 }))) !== null;
  }

  /** Where device time lies in UTC: the shortest exchange bounds it best (Cristian 1989, Distributed Computing 3, 146). */
  async #setClock(client) {
    let best = null;
    for (let i = 0; i < CLOCK_EXCHANGES; i++) {
      const sent = performance.now();
      const { now_s: s, now_us: us } = await client.ask("TIME");
      const span = performance.now() - sent;
      if (!best || span < best.span) best = { span, s, us, utcMs: performance.timeOrigin + sent + span / 2 };
    }
    const utcUs = Math.round(best.utcMs * 1000);
    const set = await this.#asked(client.ask("SET_CLOCK", {
      device_s: best.s, device_us: best.us,
      utc_s: Math.floor(utcUs / 1e6), utc_us: utcUs % 1e6,
      uncertainty_us: Math.ceil((best.span / 2) * 1000) + 1000, // the browser rounds its clock, by up to 1 ms
    }));
    return set !== null;
  }

  #status(status) {
    this.took(status);
    if (status.state === STATE.RECORDING && !this.#following && this.state.mayCommand) this.#follow();
  }

  #lost(client, reason) {
    if (client !== this.#client || !this.#wanted) return;
    clearInterval(this.#beat);
    this.set({ link: "lost", trouble: `${reason}; the logger records on. Connecting again ...`, mayCommand: false });
    this.#meet();
  }

  /** Wait for the pull of a specimen. Throws Refused, LinkLost. */
  async arm(specimen, stopLoadN = null) {
    this.#specimen = specimen;
    this.#purpose = "";
    await this.#setAlarm(stopLoadN);
    const { run } = await this.#client.ask("ARM");
    this.set({ run, purpose: "" });
  }

  /** The logger's own alarm at the stop load: lamp and buzzer call also where no page is near. It stays set. */
  async #setAlarm(stopLoadN) {
    const { calibration, settings } = this.state;
    const counts = calibration?.input === settings.input ? alarmCounts(calibration, stopLoadN) : 0;
    if (!counts || counts === settings.alarm_counts) return;
    if (await this.#asked(this.#client.ask("SET", { setting: SETTING.ALARM_COUNTS, value: counts }))) {
      this.set({ settings: { ...settings, alarm_counts: counts } });
    }
  }

  /** Record what is weighed from now on, until `stop`. */
  async weigh() {
    this.#specimen = "";
    this.#purpose = "weighing";
    const { run } = await this.#client.ask("START");
    this.set({ run, purpose: this.#purpose });
  }

  async stop() {
    await this.#client.ask("STOP");
  }

  /** Write a mark into the run being recorded. */
  async mark(text) {
    await this.#client.ask("MARK", { code: 0, text });
  }

  /** Keep a logger's key; it cannot be read out of this browser again. The link stands: Chromium cuts one that is made anew at once. */
  async keepKey(raw) {
    const key = await crypto.subtle.importKey("raw", raw, { name: "HMAC", hash: "SHA-256" }, false, ["sign"]);
    await this.#store.keepKey(this.state.serial, key);
    try {
      await this.#greet(this.#client);
    } catch (error) {
      if (!(error instanceof WrongLogger)) throw error;
      await this.leave();
      this.set({ trouble: error.message });
    }
  }

  /** Bring every run that the logger holds into the store, the newest first; what is here already is not asked for. */
  fetchAll() {
    const client = this.#client;
    // One at a time over a connection; what was begun over an earlier one ends by itself.
    if (this.#fetching?.client !== client) {
      const job = { client, done: null };
      job.done = this.#fetchAll(client).catch((error) => this.#tellTrouble(error)).finally(() => {
        if (this.#fetching === job) this.#fetching = null;
      });
      this.#fetching = job;
    }
    return this.#fetching.done;
  }

  async #fetchAll(client) {
    const listed = await client.runs();
    for (const { run } of listed.reverse()) {
      if (client !== this.#client) return;
      const busy = this.#following?.run === run || (this.state.status?.state === STATE.RECORDING && run === listed[0].run);
      if (!busy) await this.#fetch(client, run, {});
    }
  }

  #follow() {
    const client = this.#client;
    const follow = { run: 0 };
    this.#following = follow;
    (async () => {
      const listed = await client.runs();
      follow.run = listed.at(-1)?.run ?? 0;
      this.set({ run: follow.run });
      if (follow.run) await this.#fetch(client, follow.run, { follow: true });
    })()
      .catch((error) => this.#tellTrouble(error))
      .finally(() => {
        if (this.#following === follow) this.#following = null;
        if (this.state.mayCommand && client === this.#client) this.fetchAll();
      });
  }

  /** One run at a time: two readings of the same run would write over each other's place. */
  #fetch(client, number, choice) {
    const turn = this.#turn.then(() => this.#fetchNow(client, number, choice));
    this.#turn = turn.catch(() => {});
    return turn;
  }

  async #fetchNow(client, number, { follow = false }) {
    const run = await this.#place(client, number);
    if (run.complete) return;
    if (follow && this.#specimen && !run.specimen) run.specimen = this.#specimen;
    if (follow && this.#purpose) run.purpose = this.#purpose;
    const writer = this.#store?.writer(run);
    const end = await client
      .readRun(number, async (framed, record) => {
        await writer?.take(framed);
        if (follow) this.tell("samples", record);
      }, { first: run.next, follow })
      .finally(() => writer?.flush());
    run.complete = end !== null;
    await this.#store?.put({ ...run });
    this.tell("kept", run.key);
  }

  /** The row of a run of this logger: the one that begins with the very record that the logger's run begins with, or a new one. */
  async #place(client, number) {
    const first = await client.readRecord(number, 0);
    for (let again = 1; ; again++) {
      const key = `${this.state.serial}-${number}${again > 1 ? `-${again}` : ""}`;
      const known = await this.#store?.run(key);
      const beginning = known && (await this.#store.beginning(key));
      if (known && beginning && !(first && same(beginning, first))) continue;
      return known ?? {
        key, serial: this.state.serial, run: number, next: 0, complete: false, exported: false,
        specimen: "", note: "", outcome: "", at: Date.now(),
      };
    }
  }

  #tellTrouble(error) {
    if (error instanceof LinkLost) return; // said by the link itself
    this.set({ trouble: error.message });
  }
}
