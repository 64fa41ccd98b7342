// The radio link of a page: Web Bluetooth. It moves bytes and knows no records.
//
// What browsers do to such links, and what is done about it here:
// * The chooser needs a tap, and within one page life a device may be connected again without it: so the device is kept.
// * A first connection on Android often fails for no lasting reason: a NetworkError is tried once more after half a second.
// * `gatt.connect()` cannot be aborted and may hang (Web Bluetooth, issues 152 and 640): a timer stands beside it.
// * Chromium's Bluetooth may fall silent for good when a link is lost (seen with 156 on Linux, about once in ten losses on a
//   busy machine: neither connect() nor getAvailability() ever settles). Only a page that is loaded again can use it, so
//   a connection that hangs is followed by a question that a browser in order answers at once.
// * One GATT operation at a time: the client sends one packet after another, and sets up in order.
// * A page cannot ask for the size of a packet (issue 383): 20 bytes, which every link carries, until a longer
//   notification has shown that more fits.

// protocol/records.json, "uuids"; tests/page/links.test.mjs compares them
export const SERVICE = "d3d84cfa-56e2-4dec-a4e0-56fb321a2286";
export const STREAM = "d30ce564-06f5-4ced-8d8a-e130788816f9";
export const COMMAND = "170b746e-6cac-461f-80c0-48bec972c96c";

const SMALLEST_PACKET = 20;
const CONNECT_MS = 15_000;
const AGAIN_MS = 500;
const SURE_MS = 3000;

/** The browser itself answers nothing about Bluetooth any more. */
export class BrowserSilent extends Error {
  constructor() {
    super("this browser's Bluetooth has stopped answering: load this page again and reach the logger anew. " +
      "It records on meanwhile, and what was kept here stays; the zero is to be taken again.");
    this.name = "BrowserSilent";
  }
}

/** Can this page use Bluetooth? A sentence with the way out where it cannot, else null. */
export function lacksBluetooth(view = globalThis) {
  if (!view.isSecureContext) {
    return "Bluetooth needs a page from https or from this very device; open the page through the computer instead.";
  }
  if (!view.navigator.bluetooth) {
    return "This browser has no Bluetooth for pages (Chrome on Android and Chrome or Edge on a computer have). " +
      "On an iPhone open the page through the computer: breakyard field.";
  }
  return null;
}

/** Let the person choose a logger; must be called from a tap. Throws NotFoundError if nothing was chosen. */
export function chooseLogger(bluetooth = navigator.bluetooth) {
  return bluetooth.requestDevice({ filters: [{ services: [SERVICE] }] });
}

/** What a promise gives, or null if it has not settled in time. */
async function within(ms, promise) {
  let timer;
  const late = new Promise((resolve) => { timer = setTimeout(() => resolve(null), ms); });
  try {
    return await Promise.race([promise, late]);
  } finally {
    clearTimeout(timer);
  }
}

export class BluetoothLink {
  maxPacket = SMALLEST_PACKET;
  readRecords = 64;
  #device;
  #command = null;
  #stream = null;
  /** @type {(bytes: Uint8Array) => void} */
  #onBytes = () => {};
  /** @type {(reason: string) => void} */
  #onLost = () => {};
  #open = false;
  #bluetooth;
  #gone = () => this.#end();
  #heard = (event) => this.#take(event);

  constructor(device, bluetooth = navigator.bluetooth) {
    this.#device = device;
    this.#bluetooth = bluetooth;
  }

  get name() {
    return this.#device.name ?? "";
  }

  /** Connect and subscribe. Throws what the browser says, an Error after 15 s without a word, or BrowserSilent. */
  async connect() {
    const server = await this.#server();
    try {
      const service = await server.getPrimaryService(SERVICE);
      this.#command = await service.getCharacteristic(COMMAND);
      this.#stream = await service.getCharacteristic(STREAM);
      this.#device.addEventListener("gattserverdisconnected", this.#gone);
      this.#stream.addEventListener("characteristicvaluechanged", this.#heard);
      await this.#stream.startNotifications();
      this.#open = true;
    } catch (error) {
      this.disconnect();
      throw error;
    }
  }

  async #server() {
    for (let attempt = 0; ; attempt++) {
      try {
        const server = await within(CONNECT_MS, this.#device.gatt.connect());
        if (server) return server;
        if (!(await this.#browserAnswers())) throw new BrowserSilent();
        throw new Error("the logger does not answer; is it on and in range?");
      } catch (error) {
        if (error.name !== "NetworkError" || attempt) {
          this.#device.gatt.disconnect();
          throw error;
        }
        await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
      }
    }
  }

  async #browserAnswers() {
    return !this.#bluetooth?.getAvailability || (await within(SURE_MS, this.#bluetooth.getAvailability())) !== null;
  }

  listen(onBytes, onLost) {
    this.#onBytes = onBytes;
    this.#onLost = onLost;
  }

  async send(bytes) {
    await this.#command.writeValueWithoutResponse(bytes);
  }

  disconnect() {
    this.#open = false;
    this.#device.removeEventListener("gattserverdisconnected", this.#gone);
    this.#stream?.removeEventListener("characteristicvaluechanged", this.#heard);
    this.#device.gatt.disconnect();
  }

  #take(event) {
    const { buffer, byteOffset, byteLength } = event.target.value;
    // A record may end anywhere, so only a notification that is full tells the size; the longest one seen is a lower bound.
    this.maxPacket = Math.max(this.maxPacket, byteLength);
    this.#onBytes(new Uint8Array(buffer, byteOffset, byteLength));
  }

  #end() {
    const was = this.#open;
    this.disconnect();
    if (was) this.#onLost("the radio link was lost");
  }
}
