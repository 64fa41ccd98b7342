// What is drawn keeps every extreme, and axes have round steps.

import assert from "node:assert/strict";
import { test } from "node:test";

import { columns, ticks } from "../../../host/page/curve.mjs";

test("no peak is lost when there are more samples than pixels", () => {
  const time = Array.from({ length: 100_000 }, (_, i) => i / 92);
  const load = time.map((t) => Math.sin(t));
  load[54_321] = 50;
  load[777] = -30;
  const drawn = columns(time, load, 0, time.at(-1), 300);
  assert.ok(drawn.length <= 300);
  assert.equal(Math.max(...drawn.map(([, , high]) => high)), 50);
  assert.equal(Math.min(...drawn.map(([, low]) => low)), -30);
});

test("ticks are round and few", () => {
  assert.deepEqual(ticks(0, 450, 5), [0, 100, 200, 300, 400]);
  assert.deepEqual(ticks(0, 0.9, 5).map((t) => Number(t.toFixed(6))), [0, 0.2, 0.4, 0.6, 0.8]);
  assert.deepEqual(ticks(3, 3, 5), [3]);
  for (const [low, high] of [[-3, 77], [0.001, 0.0017], [1e5, 9e6]]) assert.ok(ticks(low, high, 6).length <= 7);
});
