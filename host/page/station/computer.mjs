// The page through a computer: `breakyard field` talks to the logger, keeps the runs in its session and reads them; the
// page watches, and commands with the pairing code. What comes is the logger's own records as they are (binary) and the
// computer's news (JSON, one object a message; host/breakyard/field/words.py lists them).

import { FrameReader } from "../wire/frame.mjs";
import { parse } from "../wire/records.mjs";
import { Station } from "./station.mjs";

const PAUSES_MS = [300, 1000, 2000, 5000];
const ANSWER_MS = 10_000;
const PIECE = 3600; // a multiple of 4 signs of base 64; host/breakyard/field/pictures.py has the same bound
const PHOTO_PX = 1280;
const SILENCE_MS = 6000; // the computer says something every 2 s

export class Computer extends Station {
  #address;
  #code;
  #socket = null;
  #wanted = false;
  #answers = new Map();
  #number = 0;
  #heardMs = 0;
  #watchdog = null;
  readings = new Map(); // name of a pull -> what the computer read, in the order of coming

  /** `address`: of the WebSocket. `code`: what was paired, "" for one who watches. */
  constructor(address, code = "") {
    super();
    this.#address = address;
    this.#code = code;
  }

  async join() {
    this.#wanted = true;
    this.set({ link: "connecting", trouble: "" });
    this.#open(0);
  }

  async leave() {
    this.#wanted = false;
    clearInterval(this.#watchdog);
    this.#socket?.close();
    this.set({ link: "off", mayCommand: false });
  }

  /** Pair with a code; throws an Error with the computer's words if it is another. */
  async pair(code) {
    this.#code = code;
    await this.#ask("pair", {});
    this.set({ mayCommand: true });
  }

  arm(specimen) { return this.#ask("arm", { specimen }); }
  weigh() { return this.#ask("start", { specimen: "", purpose: "weighing" }); }
  stop() { return this.#ask("stop", {}); }
  mark(text) { return this.#ask("mark", { text }); }
  /** Ask for a pull of the virtual logger; only where the computer offers it. */
  simulate() { return this.#ask("simulate", {}); }
  /** Say of a pull how it ended and what was seen; a photo goes in pieces, since a request is small. */
  async note(name, { photo = null, ...values }) {
    if (!photo) return this.#ask("note", { name, ...values });
    const text = await smaller(photo);
    const parts = Math.ceil(text.length / PIECE);
    for (let part = 0; part < parts; part++) {
      const data = text.slice(part * PIECE, (part + 1) * PIECE);
      await this.#ask("photo", { name, part: String(part), parts: String(parts), data });
    }
    return null;
  }

  #open(attempt) {
    const socket = new WebSocket(this.#address);
    const reader = new FrameReader();
    socket.binaryType = "arraybuffer";
    this.#socket = socket;
    this.#heardMs = performance.now();
    clearInterval(this.#watchdog);
    this.#watchdog = setInterval(() => {
      if (performance.now() - this.#heardMs > SILENCE_MS) socket.close();
    }, 1000);
    let greeted = false;
    socket.onmessage = ({ data }) => {
      this.#heardMs = performance.now();
      if (typeof data !== "string") return this.#records(reader, new Uint8Array(data));
      const news = JSON.parse(data);
      if (news.type === "hello" && !greeted) {
        greeted = true;
        attempt = 0;
        if (this.#code) this.pair(this.#code).catch(() => this.set({ mayCommand: false }));
      }
      return this.#news(news);
    };
    socket.onclose = () => {
      clearInterval(this.#watchdog);
      for (const { reject } of this.#answers.values()) reject(new Error("the computer went away; the logger records on"));
      this.#answers.clear();
      if (!this.#wanted) return;
      this.set({ link: "lost", mayCommand: false, trouble: "no word from the computer; the logger records on. Trying again ..." });
      setTimeout(() => this.#wanted && this.#open(attempt + 1), PAUSES_MS[Math.min(attempt, PAUSES_MS.length - 1)]);
    };
  }

  #records(reader, bytes) {
    reader.receive(bytes);
    for (let item; (item = reader.next());) {
      if (item.damaged) continue;
      const record = parse(item.record);
      if (record.name === "STATUS") this.took(record.fields);
      else this.tell("samples", record);
    }
  }

  #news(news) {
    if (news.type === "answer") {
      const { resolve, reject } = this.#answers.get(news.id) ?? {};
      this.#answers.delete(news.id);
      if (news.ok) resolve?.(news);
      else reject?.(new Error(news.error));
    } else if (news.type === "reading") {
      this.readings.set(news.name, news);
      this.tell("reading", news);
    } else if (news.type === "hello" || news.type === "logger") {
      const { type: _, readings = [], ...changes } = news;
      for (const one of readings) this.readings.set(one.name, one);
      this.set(changes);
      for (const one of readings) this.tell("reading", one);
    }
  }

  #ask(what, values) {
    return new Promise((resolve, reject) => {
      if (this.#socket?.readyState !== WebSocket.OPEN) {
        reject(new Error("the computer is not connected"));
        return;
      }
      const id = ++this.#number;
      const timer = setTimeout(() => {
        this.#answers.delete(id);
        reject(new Error("the computer does not answer"));
      }, ANSWER_MS);
      const settle = (act) => (value) => {
        clearTimeout(timer);
        act(value);
      };
      this.#answers.set(id, { resolve: settle(resolve), reject: settle(reject) });
      this.#socket.send(JSON.stringify({ ...values, id, do: what, code: this.#code }));
    });
  }
}

/** A photo as JPEG in base 64, so much smaller that its pieces are few: a report shows no more. */
async function smaller(photo) {
  const picture = await createImageBitmap(photo).catch(() => { throw new Error("this is no picture that the browser can read"); });
  const scale = Math.min(1, PHOTO_PX / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return canvas.toDataURL("image/jpeg", 0.8).split(",")[1];
}
