// The page's constants say what the table says, no more and no less.

import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { fileHead } from "../../../host/page/wire/records.mjs";
import * as layout from "../../../host/page/wire/layout.mjs";
import { cases, table, toHex } from "./support.mjs";

const LISTS = {
  kinds: "KIND", commands: "COMMAND", settings: "SETTING", states: "STATE", faults: "FAULT", overloads: "OVERLOAD",
  reset_causes: "RESET_CAUSE", inputs: "INPUT", qualities: "QUALITY", begin_causes: "BEGIN_CAUSE",
  end_causes: "END_CAUSE", marks: "MARK_CODE", levels: "LEVEL", errors: "ERROR", accesses: "ACCESS", privacies: "PRIVACY",
  store_tests: "STORE_TEST", damage: "DAMAGE",
};

const byName = (entries, value) => Object.fromEntries(entries.map((entry) => [entry.name.toUpperCase(), value(entry)]));
const pairs = (fields) => fields.map(({ name, type }) => [name, type]);

test("version, limits, sizes of types and UUIDs equal the table", () => {
  assert.equal(layout.VERSION, table.version);
  assert.deepEqual({ ...layout.LIMITS }, Object.fromEntries(Object.entries(table.limits).map(([n, l]) => [n, l.value])));
  const sizes = Object.entries(table.types).filter(([, type]) => "bytes" in type).map(([n, type]) => [n, type.bytes]);
  assert.deepEqual({ ...layout.TYPE_SIZES }, Object.fromEntries(sizes));
  const uuids = Object.entries(layout).filter(([name]) => name.endsWith("_UUID"));
  assert.deepEqual(uuids.sort(), Object.entries(table.uuids).map(([n, entry]) => [n, entry.value]).sort());
});

test("a file says first what it is, by the released table that these numbers come from", () => {
  const released = readFileSync(new URL(`../../../protocol/released/${layout.VERSION}.json`, import.meta.url));
  assert.deepEqual([...layout.TABLE], [...createHash("sha256").update(released).digest().subarray(0, 8)]);
  const typical = cases("valid").find(({ id }) => id === "file-typical");
  assert.equal(toHex(fileHead()), typical.frame);
});

test("every list of numbers equals the table, and every list of the table is here", () => {
  const lists = Object.keys(table).filter((name) => Array.isArray(table[name]) && table[name][0].value !== undefined);
  assert.deepEqual(lists.sort(), Object.keys(LISTS).sort());
  for (const [list, name] of Object.entries(LISTS)) {
    assert.deepEqual({ ...layout[name] }, byName(table[list], (entry) => entry.value), name);
  }
});

test("fields, arguments, results and the limits of settings equal the table", () => {
  assert.deepEqual({ ...layout.FIELDS }, byName(table.kinds, (kind) => pairs(kind.fields)));
  assert.deepEqual({ ...layout.ARGUMENTS }, byName(table.commands, (command) => pairs(command.arguments)));
  assert.deepEqual({ ...layout.RESULTS }, byName(table.commands, (command) => pairs(command.results)));
  assert.deepEqual({ ...layout.SETTING_LIMITS }, byName(table.settings, (s) => [s.min, s.default, s.max]));
  assert.equal(Object.keys(layout.GAINS).length, table.inputs.length);
});
