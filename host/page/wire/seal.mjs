// The host's side of the seals of SPEC.md, section 12, by crypto.subtle (a page needs https, or localhost).

import { join } from "./frame.mjs";
import { COMMAND } from "./layout.mjs";

export const KEY_SIZE = 32;

/** Never sealed: the challenge itself, and what a cable alone may do. HELLO is sealed once that is possible. */
const OPEN = new Set(["CHALLENGE", "SET_KEY"]);

/** The logger does not have the key that it should have. */
export class WrongLogger extends Error {
  constructor(message = "the logger has another key; set it again over the cable, or is this another logger?") {
    super(message);
    this.name = "WrongLogger";
  }
}

const ascii = (part) => (typeof part === "string" ? new TextEncoder().encode(part) : part);

function u32(value) {
  const out = new Uint8Array(4);
  new DataView(out.buffer).setUint32(0, value, true);
  return out;
}

/** HMAC-SHA256 (RFC 2104) under bytes, or under a CryptoKey that can sign. */
export async function hmac(key, ...message) {
  const made = key instanceof CryptoKey
    ? key
    : await crypto.subtle.importKey("raw", key, { name: "HMAC", hash: "SHA-256" }, false, ["sign"]);
  return new Uint8Array(await crypto.subtle.sign("HMAC", made, join(message.map(ascii))));
}

function sameSecret(a, b) {
  let difference = a.length ^ b.length;
  for (let i = 0; i < a.length; i++) difference |= a[i] ^ b[i];
  return difference === 0;
}

/** Return the key. Throws RangeError unless it has 32 bytes that are not all zero; a CryptoKey was looked at when it was made. */
export function checkedKey(key) {
  if (key instanceof CryptoKey) return key;
  if (key.length !== KEY_SIZE || key.every((byte) => byte === 0)) {
    throw new RangeError("a key has 32 bytes, 64 hex digits, and is not zero; this is none");
  }
  return key;
}

/** Eight bytes that tell keys apart and betray none. */
export async function keyId(key) {
  return (await hmac(key, "breakyard key id")).slice(0, 8);
}

/** One session: begun with the logger's nonce and proof, it seals commands with a counter that only grows. */
export class Session {
  #keys;
  #sessionKey = null;
  #counter;

  /** `keys`: one, or a list of those that it may be. */
  constructor(keys, { hostNonce = crypto.getRandomValues(new Uint8Array(32)), counter = 0 } = {}) {
    this.#keys = (Array.isArray(keys) ? keys : [keys]).map(checkedKey);
    this.hostNonce = hostNonce;
    this.#counter = counter;
  }

  /** Take the logger's answer to CHALLENGE. Throws WrongLogger if it has none of the keys. */
  async begin(nonce, proof) {
    for (const key of this.#keys) {
      const sessionKey = await hmac(key, "breakyard session", nonce, this.hostNonce);
      if (sameSecret(await hmac(sessionKey, "logger"), proof)) {
        this.#sessionKey = sessionKey;
        return;
      }
    }
    throw new WrongLogger();
  }

  /** Arguments of SEALED in the place of a command, or null for one that is sent open. Call one after another. */
  async seal(command, packed) {
    if (OPEN.has(command)) return null;
    if (!this.#sessionKey) throw new WrongLogger("the session has not begun");
    const counter = u32(++this.#counter);
    const sealed = join([Uint8Array.of(COMMAND[command]), packed]);
    return join([counter, await hmac(this.#sessionKey, "command", counter, sealed), sealed]);
  }
}
