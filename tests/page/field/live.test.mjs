// The live number and what follows from it, against numbers worked out elsewhere.

import assert from "node:assert/strict";
import { test } from "node:test";

import { alarmCounts, HoldClock, holdWords, loadN, mayLieAbove, shown, UNITS, Watch, zeroFrom } from "../../../host/page/live.mjs";

const LINEAR = { centre_counts: 1000, scale_counts: 2000, c0_n: 5, c1_n: 40, c2_n: 0, c3_n: 0 };

test("force is that of the counts less that of the zero", () => {
  assert.equal(loadN(LINEAR, 3000, 1000), 40);
  assert.equal(loadN(LINEAR, 1000, 3000), -40);
  const bent = { ...LINEAR, c2_n: 2, c3_n: -1 };
  // z = 1 against z = 0: 40 + 2 - 1
  assert.equal(loadN(bent, 3000, 1000), 41);
});

test("a stop load is the distance in counts at which the logger calls by itself", () => {
  assert.equal(alarmCounts(LINEAR, 400), 20000); // 40 N are 2000 counts
  assert.equal(alarmCounts({ ...LINEAR, c1_n: -40 }, 400), 20000);
  for (const [calibration, stop] of [[null, 400], [LINEAR, null], [LINEAR, 0], [LINEAR, -5], [LINEAR, 1e9], [{ ...LINEAR, c1_n: 0 }, 5]]) {
    assert.equal(alarmCounts(calibration, stop), 0);
  }
});

test("units are exact by definition", () => {
  assert.equal(UNITS.kgf, 9.80665); // 3rd CGPM, 1901
  assert.ok(Math.abs(UNITS.lbf - 0.45359237 * 9.80665) < 1e-12); // pound of 1959
  assert.ok(Math.abs(UNITS.kip - 1000 * UNITS.lbf) < 1e-9);
});

test("a number has at most four figures, and goes on in the next unit", () => {
  assert.deepEqual(shown(9.80665 * 449.23, "kgf"), { text: "449", unit: "kgf" });
  assert.deepEqual(shown(9.80665 * 9999.6, "kgf"), { text: "10.00", unit: "tf" });
  assert.deepEqual(shown(12_340, "N"), { text: "12.34", unit: "kN" });
  assert.deepEqual(shown(1234, "kN"), { text: "1.23", unit: "kN" });
  assert.deepEqual(shown(9.80665 * 99_996, "kgf"), { text: "100.0", unit: "tf" });
  assert.deepEqual(shown(-0.2, "N"), { text: "0", unit: "N" });
  for (const newtons of [0, 1e-6, 3, 9.9, 99.6, 999.5, 9999, 9999.5, 12_345, 999_999, 5_000_000]) {
    for (const unit of Object.keys(UNITS)) {
      const figures = shown(newtons, unit).text.replace(/[^0-9]/g, "");
      assert.ok(figures.length <= 4 || newtons / UNITS[unit] > 9999, `${newtons} ${unit}: ${figures}`);
    }
  }
});

test("a zero is a mean of at least five numbers", () => {
  assert.equal(zeroFrom([1, 2, 3, 4]), null);
  const zero = zeroFrom([9, 10, 11, 9, 10, 11, 9, 10, 11, 10]);
  assert.equal(zero.counts, 10);
  assert.ok(Math.abs(zero.spread - Math.sqrt(6 / 9)) < 1e-12);
});

test("how far the true peak may lie above the largest sample", () => {
  // README: about 1 % at 500 kgf/s; the plan's bound for order 4 at 80 a second: 500 x 3 / 80 = 18.75 kgf
  assert.equal(mayLieAbove(500, 80, 1000), 18.75 / 1000);
  assert.equal(mayLieAbove(-5, 80, 1000), 0);
  assert.equal(mayLieAbove(500, 0, 1000), null);
  assert.equal(mayLieAbove(500, 80, 0), null);
});

test("a sudden fall is a break, an eased load is none", () => {
  const broken = new Watch({ leastN: 100 });
  assert.equal(broken.take(900, 0), null);
  assert.equal(broken.take(1000, 100), null);
  assert.equal(broken.take(30, 200), "break");
  assert.equal(broken.take(30, 300), null);
  assert.equal(broken.largestN, 1000);

  const eased = new Watch({ leastN: 100 });
  for (let i = 0; i <= 50; i++) assert.equal(eased.take(1000 - 20 * i, 100 * i), null);
});

test("noise about zero is no break", () => {
  const watch = new Watch({ leastN: 60 });
  for (let i = 0; i < 100; i++) assert.equal(watch.take(i % 2 ? 20 : -20, 100 * i), null);
});

test("the stop load is told once, and again after the load went well below it", () => {
  const watch = new Watch({ stopLoadN: 500 });
  assert.equal(watch.take(499, 0), null);
  assert.equal(watch.take(501, 1000), "stop load");
  assert.equal(watch.take(520, 2000), null);
  assert.equal(watch.take(499, 3000), null);
  assert.equal(watch.take(505, 4000), null);
  assert.equal(watch.take(460, 5000), null);
  assert.equal(watch.take(505, 6000), "stop load");
});

test("the seconds of a hold begin anew below its load", () => {
  const clock = new HoldClock(100);
  const loads = [0, 50, 100, 120, 130, 99, 101, 102];
  assert.deepEqual(loads.map((load, s) => clock.take(load, 1000 * s)), [0, 0, 0, 1, 2, 0, 0, 1]);
  const spaced = (one, asked) => holdWords(one, asked).replaceAll("\u00a0", " "); // they never split over lines
  assert.equal(spaced(clock, 60), "▲ 1 of 60 s, longest 2 s");
  assert.equal(spaced(clock, 2), "● 1 of 2 s, longest 2 s");
  assert.equal(spaced({ seconds: 1.9, longest: 1.9 }, 60), "▲ 1 of 60 s");
});
