// The cable of a page: Web Serial. It moves bytes and knows no records.

// A board that is starting, or has no firmware of ours, takes control characters for keys: so a first word is zeros alone,
// which mean nothing to its prompt, and our logger answers them (protocol/SPEC.md, section 8).
const KNOCK = new Uint8Array(8);
const KNOCKS = 5;
const KNOCK_MS = 1000;

const BAUD = 115_200; // a USB port of a board takes any; the number is asked for all the same

/** Can this page use a cable? A sentence with the way out where it cannot, else null. */
export function lacksSerial(view = globalThis) {
  if (!view.isSecureContext) return "A cable needs a page from https or from this very device.";
  if (!view.navigator.serial) return "This browser lets no page use a cable; Chrome and Edge do.";
  return null;
}

/** Let the person choose a port; must be called from a tap. Throws NotFoundError if nothing was chosen. */
export function choosePort(serial = navigator.serial) {
  return serial.requestPort();
}

export class SerialLink {
  maxPacket = 64; // what the firmware takes of a port at a time
  readRecords = 64;
  name = "cable";
  #port;
  #reader = null;
  #writer = null;
  /** @type {(bytes: Uint8Array) => void} */
  #onBytes = () => {};
  /** @type {(reason: string) => void} */
  #onLost = () => {};

  constructor(port) {
    this.#port = port;
  }

  async connect() {
    await this.#port.open({ baudRate: BAUD });
    this.#writer = this.#port.writable.getWriter();
    const answered = new Promise((resolve) => { this.#onBytes = () => resolve(true); });
    this.#read();
    for (let i = 0; i < KNOCKS; i++) {
      await this.send(KNOCK);
      const late = new Promise((resolve) => { setTimeout(() => resolve(false), KNOCK_MS); });
      if (await Promise.race([answered, late])) return;
    }
    await this.disconnect();
    throw new Error("nothing on this cable answers as a logger; is it ours, and has it started?");
  }

  listen(onBytes, onLost) {
    this.#onBytes = onBytes;
    this.#onLost = onLost;
  }

  async send(bytes) {
    await this.#writer.write(bytes);
  }

  async disconnect() {
    const [reader, writer] = [this.#reader, this.#writer];
    this.#reader = this.#writer = null;
    await reader?.cancel().catch(() => {});
    await writer?.close().catch(() => {});
    await this.#port.close().catch(() => {});
  }

  async #read() {
    let reason = "the cable was unplugged";
    try {
      while (this.#port.readable && this.#writer) {
        this.#reader = this.#port.readable.getReader();
        try {
          for (;;) {
            const { value, done } = await this.#reader.read();
            if (done) break;
            this.#onBytes(value);
          }
        } finally {
          this.#reader?.releaseLock();
          this.#reader = null;
        }
      }
    } catch (error) {
      reason = `the cable failed: ${error.message}`;
    }
    if (this.#writer) {
      await this.disconnect();
      this.#onLost(reason);
    }
  }
}
