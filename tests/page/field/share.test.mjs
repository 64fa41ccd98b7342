// What leaves the browser: a table that a spreadsheet opens without doing what it says.

import assert from "node:assert/strict";
import { test } from "node:test";

import { cell, handOn, notesCsv } from "../../../host/page/share.mjs";

test("cells that a spreadsheet would run are made text (OWASP, CSV injection)", () => {
  for (const bad of ["=1+1", "+1", "-1", "@x", "\t=1"]) assert.equal(cell(bad)[0], "'");
  assert.equal(cell('say "hi", then'), '"say ""hi"", then"');
  assert.equal(cell("two\nlines"), '"two\nlines"');
  assert.equal(cell("a\u0007b\u001b[1m"), "ab[1m");
});

test("a row a run", () => {
  const csv = notesCsv([{ serial: "0102", run: 3, specimen: "S1", outcome: "broke", note: "first, crack", at: 0 },
    { serial: "0102", run: 4, specimen: "", outcome: "", note: "", at: 0, purpose: "weighing" }]);
  assert.equal(csv, 'serial,run,specimen,outcome,note,recorded,purpose\r\n0102,3,S1,broke,"first, crack",1970-01-01T00:00:00.000Z,\r\n' +
    "0102,4,,,,1970-01-01T00:00:00.000Z,weighing\r\n");
});

test("a person who thinks better of it has passed nothing on", async () => {
  const files = [new File(["x"], "pulls.run")];
  const away = Object.assign(new Error("no"), { name: "AbortError" });
  assert.equal(await handOn(files, { canShare: () => true, share: async () => { throw away; } }), false);
  assert.equal(await handOn(files, { canShare: () => true, share: async () => {} }), true);
});
