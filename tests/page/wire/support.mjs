// What the tests of the page's wire modules share.

import { readFileSync } from "node:fs";

const PROTOCOL = new URL("../../../protocol/", import.meta.url);

export const table = JSON.parse(readFileSync(new URL("records.json", PROTOCOL), "utf8"));

export const cases = (name) => JSON.parse(readFileSync(new URL(`vectors/${name}.json`, PROTOCOL), "utf8")).cases;

export const fromHex = (text) => Uint8Array.from(Buffer.from(text, "hex"));

export const toHex = (bytes) => Buffer.from(bytes).toString("hex");
