// Runs and what a person says of them, kept in the browser (IndexedDB) from the first record on. A page that is killed
// loses at most what came since the last flush, and the logger has that too.

import { join } from "./wire/frame.mjs";

const NAME = "breakyard";
const FLUSH_MS = 500;

const done = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

const finished = (transaction) => new Promise((resolve, reject) => {
  transaction.oncomplete = () => resolve();
  transaction.onerror = transaction.onabort = () => reject(transaction.error ?? new Error("storage refused"));
});

/** Open the store and write something: {store} or {reason} in words where this browser keeps nothing. */
export async function openStore(factory = globalThis.indexedDB) {
  if (!factory) return { store: null, reason: "this browser keeps nothing for this page" };
  try {
    const opening = factory.open(NAME, 1);
    opening.onupgradeneeded = () => {
      const made = opening.result;
      made.createObjectStore("runs", { keyPath: "key" });
      made.createObjectStore("pieces", { keyPath: ["key", "first"] });
      made.createObjectStore("keys", { keyPath: "serial" });
    };
    const store = new Store(await done(opening));
    await store.tryOut();
    globalThis.navigator?.storage?.persist?.().catch(() => {});
    return { store, reason: "" };
  } catch (error) {
    return { store: null, reason: `this browser refuses to keep anything (${error?.name ?? error})` };
  }
}

class Store {
  #base;

  constructor(base) {
    this.#base = base;
  }

  #write(names, act) {
    // "strict" asks for the disk, not only for memory, before it says done.
    const transaction = this.#base.transaction(names, "readwrite", { durability: "strict" });
    act(transaction);
    return finished(transaction);
  }

  #read(name) {
    return this.#base.transaction(name).objectStore(name);
  }

  async tryOut() {
    const probe = { key: "?", first: 0, bytes: new Uint8Array(4096) };
    await this.#write("pieces", (transaction) => transaction.objectStore("pieces").put(probe));
    await this.#write("pieces", (transaction) => transaction.objectStore("pieces").delete(["?", 0]));
  }

  /** All runs, oldest first: {key, serial, run, next, complete, exported, specimen, note, outcome, at}. */
  async runs() {
    return (await done(this.#read("runs").getAll())).sort((a, b) => a.at - b.at);
  }

  run(key) {
    return done(this.#read("runs").get(key));
  }

  put(run) {
    return this.#write("runs", (transaction) => transaction.objectStore("runs").put(run));
  }

  /** The bytes of a run as far as they are here: what a .run file holds. */
  async bytes(key) {
    const range = IDBKeyRange.bound([key, 0], [key, Infinity]);
    const pieces = await done(this.#read("pieces").getAll(range));
    return join(pieces.map(({ bytes }) => bytes));
  }

  /** The first record of a run as it is here, framed; null if there is none. */
  async beginning(key) {
    const piece = await done(this.#read("pieces").get([key, 0]));
    if (!piece) return null;
    const end = piece.bytes.indexOf(0, 1);
    return piece.bytes.slice(0, end + 1);
  }

  /** Something that takes records and writes them with the run's row a few times a second. Call `flush` at the end. */
  writer(run) {
    let waiting = [];
    let since = performance.now();
    const flush = async () => {
      if (!waiting.length) return;
      const bytes = join(waiting);
      const first = run.next;
      run.next += waiting.length;
      waiting = [];
      since = performance.now();
      await this.#write(["runs", "pieces"], (transaction) => {
        transaction.objectStore("pieces").put({ key: run.key, first, bytes });
        transaction.objectStore("runs").put({ ...run });
      });
    };
    const take = async (framed) => {
      waiting.push(framed.slice());
      if (performance.now() - since > FLUSH_MS) await flush();
    };
    return { take, flush };
  }

  /** Forget a run; only for one that has been passed on. */
  async remove(key) {
    await this.#write(["runs", "pieces"], (transaction) => {
      transaction.objectStore("runs").delete(key);
      transaction.objectStore("pieces").delete(IDBKeyRange.bound([key, 0], [key, Infinity]));
    });
  }

  /** The key of a logger: a CryptoKey that can sign but not be read out, or null. */
  async keyOf(serial) {
    return (await done(this.#read("keys").get(serial)))?.key ?? null;
  }

  /** Every key that is kept, for a logger that tells strangers nothing. */
  async keys() {
    return (await done(this.#read("keys").getAll())).map(({ key }) => key);
  }

  async keepKey(serial, key) {
    await this.#write("keys", (transaction) => transaction.objectStore("keys").put({ serial, key }));
  }
}
