// Sizes of figures that are read from afar, against the published angle.

import assert from "node:assert/strict";
import { test } from "node:test";

import { fit, heightPx, metresFor } from "../../../host/page/figure.mjs";

test("58 mm at 10 m, 3.5 mm at 0.6 m (20 arc minutes, ISO 9241-303)", () => {
  assert.ok(Math.abs(heightPx(10) * 0.15875 - 58.2) < 0.1);
  assert.ok(Math.abs(heightPx(0.6) * 0.15875 - 3.5) < 0.05);
  assert.ok(Math.abs(metresFor(heightPx(7)) - 7) < 1e-9);
});

test("height comes first: figures are squeezed before they shrink, and never beyond the box", () => {
  for (const inkWidth of [60, 120, 240, 400]) {
    for (const box of [{ width: 800, height: 300 }, { width: 330, height: 700 }, { width: 1200, height: 400 }]) {
      const { size, squeeze } = fit({ inkHeight: 72, inkWidth }, box);
      assert.ok((inkWidth * size * squeeze) / 100 <= box.width + 1e-6);
      assert.ok((72 * size) / 100 <= box.height + 1e-6);
      assert.ok(squeeze >= 0.62 && squeeze <= 1);
    }
  }
  // Four figures of a bold face (0.7 em wide each, 0.73 em high) on a phone laid across.
  const { size } = fit({ inkHeight: 73, inkWidth: 280 }, { width: 890, height: 355 });
  assert.ok((0.73 * size) > 340, "close to the 363 px of 10 m");
});
