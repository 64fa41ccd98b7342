// The cable: the first word is harmless to a board's prompt, and a port that is no logger's is said to be none.

import assert from "node:assert/strict";
import { test } from "node:test";

import { SerialLink } from "../../../host/page/link/serial.mjs";

/** A port that answers with those bytes once it has heard enough zeros; `written` is all that it heard. */
function port(answer) {
  const written = [];
  let speak;
  const made = {
    written,
    closed: false,
    open: async () => {
      made.readable = new ReadableStream({ start: (controller) => { speak = controller; } });
      made.writable = new WritableStream({
        write: (bytes) => {
          written.push(...bytes);
          if (answer && written.length >= 8) speak.enqueue(Uint8Array.from(answer));
        },
      });
    },
    close: async () => { made.closed = true; },
  };
  return made;
}

test("nothing but zeros is said before something answers", async () => {
  const board = port([0, 1, 2]);
  const link = new SerialLink(board);
  await link.connect();
  const heard = [];
  link.listen((bytes) => heard.push(...bytes), () => {});
  assert.ok(board.written.length >= 8 && board.written.every((byte) => byte === 0));
  await link.send(Uint8Array.of(9));
  assert.equal(board.written.at(-1), 9);
  await link.disconnect();
});

test("a port that stays silent is given back", async (context) => {
  context.mock.timers.enable({ apis: ["setTimeout"] });
  const board = port(null);
  const connecting = assert.rejects(new SerialLink(board).connect(), /nothing on this cable answers/);
  for (let i = 0; i < 20; i++) {
    await new Promise((resolve) => setImmediate(resolve));
    context.mock.timers.tick(1000);
  }
  await connecting;
  assert.ok(board.closed);
});
