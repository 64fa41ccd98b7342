// The client: one conversation with one logger over any link, with time-outs and repeats.
//
// Promises: a command is carried out at most once however often it is sent (the logger answers a repeated index from
// memory); a download continues where the last one stopped; the records handed on are exactly those of the store.
//
// A link is {maxPacket, readRecords, send(bytes) -> Promise, listen(onBytes, onLost)}: it moves bytes and nothing else. Only
// one send is under way at a time, as a characteristic takes no more.

import { DamagedRecord, frame, FrameReader } from "./frame.mjs";
import { COMMAND, ERROR, LIMITS } from "./layout.mjs";
import { Reading } from "./reading.mjs";
import { build, packArguments, parse, unpackResults } from "./records.mjs";
import { Session } from "./seal.mjs";

const ERROR_NAMES = new Map(Object.entries(ERROR).map(([name, value]) => [value, name]));
const TRIES = 3;

/** How long a stranger's wrong seals may keep the logger from looking at ours. */
const UNLOCK_WAITS_MS = [500, 1000, 2000, 4000];

/** The logger's no. */
export class Refused extends Error {
  constructor(command, error) {
    super(`the logger refused ${command}: ${ERROR_NAMES.get(error) ?? `error ${error}`}`);
    this.name = "Refused";
    this.command = command;
    this.error = error;
  }
}

/** The link broke, or the logger is silent: connect again, and go on where it stopped. */
export class LinkLost extends Error {
  constructor(message = "the link was lost") {
    super(message);
    this.name = "LinkLost";
  }
}

const later = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

export class Client {
  #link;
  #reader = new FrameReader();
  #answers = new Map(); // index of a command -> what settles its promise
  #index;
  #session = null;
  #locked = false; // a key was given: nothing is said in the open any more
  #sending = Promise.resolve();
  #lost = null;
  #loose = []; // IDENTITY, SETTINGS, CALIBRATION that came since they were last asked for
  #readings = new Set();
  #timeoutMs;
  #pause;

  /**
   * `timeoutMs`: how long to wait for an answer before the command is sent again. `firstIndex`: number of the first
   * command, drawn at random so that it repeats none of another host's. `pause(ms)`: a promise, for tests.
   */
  constructor(link, { timeoutMs = 2000, firstIndex = randomIndex(), pause = later } = {}) {
    this.#link = link;
    this.#index = firstIndex;
    this.#timeoutMs = timeoutMs;
    this.#pause = pause;
    this.status = null; // fields of the latest STATUS
    this.damaged = 0;
    this.onStatus = null; // called with the fields of each STATUS
    this.onLog = null; // called with the fields of each LOG
    this.onLost = null; // called once, with the reason, when the link has ended
    link.listen((bytes) => this.#receive(bytes), (reason) => this.#end(reason));
  }

  /** Send a command, again if nothing comes back; its results by name. Throws Refused, LinkLost. */
  async ask(command, values = {}) {
    let settle;
    const answer = new Promise((resolve) => { settle = resolve; });
    const index = this.#nextIndex(settle);
    try {
      const message = await this.#command(index, command, values);
      for (let attempt = 0; attempt < TRIES; attempt++) {
        if (attempt) await this.#inTurn(() => this.#send(message));
        const came = await this.#within(answer);
        if (!came) continue;
        return this.#results(command, came);
      }
    } finally {
      this.#answers.delete(index);
    }
    throw new LinkLost(`no answer to ${command}; is the logger on and in range?`);
  }

  /** A word to the logger, that it does not end the link; say one every second when nothing else is said. */
  async word() {
    await this.#inTurn(() => this.#send(Uint8Array.of(0)));
  }

  /** Who is there: {identity, settings, name, protocol}. */
  async hello() {
    this.#loose = [];
    const { name, protocol } = await this.ask("HELLO");
    const of = (kind) => this.#loose.findLast((record) => record.name === kind)?.fields;
    const [identity, settings] = [of("IDENTITY"), of("SETTINGS")];
    if (!identity || !settings) throw new LinkLost("the logger answered, but its identity was lost on the way; ask again");
    return { identity, settings, name, protocol };
  }

  /**
   * Begin a session under the key; from now on commands are sealed, and none is ever sent open again: a logger that says
   * that it has no key, or knows no CHALLENGE, is not the one we seek. Of a list of keys the one that the logger proves
   * to have: who it is may be told under a seal only. Throws WrongLogger, Refused, LinkLost.
   */
  async unlock(keys) {
    this.#locked = true;
    this.#session = null;
    for (let turn = 0; ; turn++) {
      const session = new Session(keys);
      try {
        const { nonce, proof } = await this.ask("CHALLENGE", { host_nonce: session.hostNonce });
        await session.begin(nonce, proof);
        this.#session = session;
        return;
      } catch (error) {
        if (!(error instanceof Refused) || error.error !== ERROR.TOO_SOON || turn === UNLOCK_WAITS_MS.length) throw error;
        await this.#pause(UNLOCK_WAITS_MS[turn]);
      }
    }
  }

  /** The runs in the store, oldest first: {run, records, bytes, complete}. */
  async runs() {
    const found = [];
    for (let first = 1; first <= LIMITS.MAX_RUN;) {
      try {
        const one = await this.ask("LIST", { first });
        if (one.run < first) throw new LinkLost(`the logger listed run ${one.run} when asked for ${first} and later`);
        found.push({ ...one, complete: one.complete === 1 });
        first = one.run + 1;
      } catch (error) {
        if (error instanceof Refused && error.error === ERROR.NO_SUCH_RUN) break;
        throw error;
      }
    }
    return found;
  }

  /** The copy of a calibration that the logger keeps, or null. */
  async calibration() {
    this.#loose = [];
    try {
      await this.ask("READ_CALIBRATION");
    } catch (error) {
      if (error instanceof Refused && error.error === ERROR.NO_SUCH_RECORD) return null;
      throw error;
    }
    const copy = this.#loose.findLast((record) => record.name === "CALIBRATION")?.fields;
    if (!copy) throw new LinkLost("the logger answered, but its calibration was lost on the way; ask again");
    return copy;
  }

  /**
   * Hand the records of a run, from index `first` on and in order, to `keep(framed bytes, record)` as they arrive.
   * `follow`: wait for a run that is still being recorded. Returns the fields of RUN_END, or null if the store holds none
   * (or less than `first`). After LinkLost what was kept stays valid: go on with `first` one more than the last index kept.
   */
  async readRun(run, keep, { first = 0, follow = false } = {}) {
    const count = Math.min(this.#link.readRecords ?? LIMITS.MAX_READ, LIMITS.MAX_READ);
    const reading = new Reading(run, { first, count, follow });
    const came = [];
    let wake = () => {};
    const news = { take: (item) => { came.push(item); wake(); } };
    const asked = new Set();
    this.#readings.add(news);
    try {
      for (let progress = -1; ;) {
        for (let start; (start = reading.nextFirst()) !== null;) {
          const index = this.#nextIndex((answer) => news.take({ index, answer }));
          asked.add(index);
          reading.sent(index, start);
          await this.#command(index, "READ", { run, first: start, count, follow: follow ? 1 : 0 });
        }
        if (!came.length) {
          const waiting = new Promise((resolve) => { wake = () => resolve(true); });
          if (!(await this.#orTimeOut(waiting))) {
            if (reading.progress === progress && !follow) throw new LinkLost("no answer to READ");
            progress = reading.progress;
            reading.startOver();
          }
        }
        for (const { record, raw, index, answer } of came.splice(0)) {
          if (record) {
            if (reading.take(record)) await keep(frame(raw), record);
          } else if (answer && reading.waitingFor.includes(index) && !reading.done) {
            // What was followed live may be lost to the logger with its power: then there is less than we have.
            if (first && answer.fields.error === ERROR.NO_SUCH_RECORD) return null;
            const { next, finished } = this.#results("READ", answer);
            reading.answered(index, next, finished === 1);
          }
        }
        if (reading.done) return reading.end;
        if (this.#lost) throw this.#lost;
      }
    } finally {
      this.#readings.delete(news);
      for (const index of asked) this.#answers.delete(index);
    }
  }

  /** One record of a run, framed, or null if the store does not hold it. */
  async readRecord(run, index) {
    let found = null;
    const news = { take: ({ record, raw }) => { if (record?.run === run && record.index === index) found = frame(raw); } };
    this.#readings.add(news);
    try {
      await this.ask("READ", { run, first: index, count: 1, follow: 0 });
    } finally {
      this.#readings.delete(news);
    }
    return found;
  }

  #results(command, answer) {
    const { error, results } = answer.fields;
    if (error !== ERROR.OK) throw new Refused(command, error);
    return unpackResults(command, results, answer.version);
  }

  #nextIndex(settle) {
    const index = this.#index;
    this.#index = (index % 0xffffffff) + 1;
    this.#answers.set(index, settle);
    return index;
  }

  /** Send a command, sealed if need be; its bytes, to be sent again. What is sealed first is sent first: counters grow. */
  #command(index, command, values) {
    const packed = packArguments(command, values);
    return this.#inTurn(async () => {
      if (this.#locked && !this.#session && command !== "CHALLENGE" && command !== "HELLO") {
        throw new LinkLost("the session has not begun; nothing is sent without a seal");
      }
      const sealed = this.#session ? await this.#session.seal(command, packed) : null;
      const fields = { command: COMMAND[sealed ? "SEALED" : command], arguments: sealed ?? packed };
      const message = frame(build({ name: "COMMAND", index, fields }));
      await this.#send(message);
      return message;
    });
  }

  /** What a promise gives, or null after the time-out. Throws LinkLost. */
  async #within(promise) {
    const came = await this.#orTimeOut(promise);
    if (this.#lost) throw this.#lost;
    return came;
  }

  #orTimeOut(promise) {
    return Promise.race([promise, this.#pause(this.#timeoutMs).then(() => null)]);
  }

  /** One thing to send after another. */
  #inTurn(action) {
    const turn = this.#sending.then(action);
    this.#sending = turn.catch(() => {});
    return turn;
  }

  async #send(message) {
    for (let start = 0; start < message.length;) {
      if (this.#lost) throw this.#lost;
      const size = Math.max(1, this.#link.maxPacket);
      await this.#link.send(message.subarray(start, start + size));
      start += size;
    }
  }

  #receive(bytes) {
    this.#reader.receive(bytes);
    for (let item; (item = this.#reader.next());) {
      try {
        if (item.damaged) this.damaged++;
        else this.#sort(parse(item.record), item.record);
      } catch (error) {
        if (!(error instanceof DamagedRecord)) throw error;
        this.damaged++;
      }
    }
  }

  #sort(record, raw) {
    if (record.name === "ANSWER") {
      this.#answers.get(record.index)?.(record);
    } else if (record.name === "STATUS") {
      this.status = record.fields;
      this.onStatus?.(record.fields);
    } else if (record.name === "RECEIPT") {
      // Sent back as it came, it shows the logger what has reached us; without, the logger falls silent.
      this.#inTurn(() => this.#send(frame(raw))).catch(() => {});
    } else if (record.name === "LOG") {
      this.onLog?.(record.fields);
    } else if (record.run) {
      for (const reading of this.#readings) reading.take({ record, raw });
    } else {
      this.#loose = [...this.#loose.slice(-15), record];
    }
  }

  #end(reason) {
    this.#lost = reason instanceof Error ? reason : new LinkLost(reason);
    for (const settle of this.#answers.values()) settle(null);
    for (const reading of this.#readings) reading.take({ lost: true });
    this.onLost?.(this.#lost.message);
  }
}

function randomIndex() {
  return crypto.getRandomValues(new Uint32Array(1))[0] % 0xffffff00 + 1;
}
