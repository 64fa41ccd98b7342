// The page's client as a program: node over_tcp.mjs HOST PORT [KEY IN HEX] records a second, and prints what it got as JSON.

import { connect } from "node:net";
import { Client } from "../../../host/page/wire/client.mjs";
import { fromHex, toHex } from "./support.mjs";

/** A link to `breakyard logger virtual --tcp PORT`. */
class TcpLink {
  maxPacket = 244;
  readRecords = 16;

  constructor(host, port) {
    this.socket = connect(port, host);
  }

  listen(onBytes, onLost) {
    this.socket.on("data", (bytes) => onBytes(new Uint8Array(bytes)));
    this.socket.on("close", () => onLost("the other side ended it"));
    this.socket.on("error", (error) => onLost(error.message));
  }

  send(bytes) {
    return new Promise((resolve, reject) => {
      this.socket.write(bytes.slice(), (error) => (error ? reject(error) : resolve()));
    });
  }
}

const [host, port, key] = process.argv.slice(2);
const link = new TcpLink(host, Number(port));
const client = new Client(link);
const { identity, settings, protocol } = await client.hello();
let refused = "";
if (key) {
  await client.ask("ARM").catch((error) => { refused = error.message; });
  await client.unlock(fromHex(key));
}
await client.ask("STREAM", { on: 1 });
const { run } = await client.ask("START");
const pieces = [];
const following = client.readRun(run, (framed) => { pieces.push(framed); }, { follow: true });
while ((client.status?.samples ?? 0) < 80) await client.word().then(() => new Promise((resolve) => setTimeout(resolve, 50)));
await client.ask("MARK", { code: 0, text: "from the page", before_ms: 0 });
await client.ask("STOP");
const end = await following;
const again = [];
await client.readRun(run, (framed) => { again.push(framed); });
const listed = await client.runs();
const hex = (parts) => parts.map(toHex).join("");
console.log(JSON.stringify({
  serial: toHex(identity.serial), alarm: settings.alarm_counts, protocol, refused, run, samples: end.samples,
  bytes: hex(pieces), again: hex(again), listed: listed.map((one) => [one.run, one.complete]),
}));
link.socket.end();
