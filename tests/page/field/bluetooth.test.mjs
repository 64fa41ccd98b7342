// The radio link where the browser answers nothing: a logger out of range is told from a browser that has fallen silent.

import assert from "node:assert/strict";
import { test } from "node:test";

import { BluetoothLink, BrowserSilent } from "../../../host/page/link/bluetooth.mjs";

const never = () => new Promise(() => {});

/** What connecting to a device that never answers comes to, in a browser that tells of its Bluetooth so. */
async function connecting(context, getAvailability) {
  context.mock.timers.enable({ apis: ["setTimeout"] });
  const let_go = [];
  const device = { gatt: { connect: never, disconnect: () => let_go.push(true) } };
  const outcome = new BluetoothLink(device, { getAvailability }).connect().catch((error) => error);
  for (let second = 0; second < 20; second++) {
    context.mock.timers.tick(1000);
    await new Promise(setImmediate);
  }
  assert.deepEqual(let_go, [true]);
  return outcome;
}

test("a logger that is out of range is said to be", async (context) => {
  const error = await connecting(context, async () => true);
  assert.ok(!(error instanceof BrowserSilent));
  assert.match(error.message, /does not answer/);
});

test("a browser that has no radio any more answers, too", async (context) => {
  assert.ok(!((await connecting(context, async () => false)) instanceof BrowserSilent));
});

test("a browser that answers nothing is said to be silent, and what helps", async (context) => {
  const error = await connecting(context, never);
  assert.ok(error instanceof BrowserSilent);
  assert.match(error.message, /load this page again/);
});
