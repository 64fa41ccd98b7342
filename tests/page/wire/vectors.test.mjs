// The page reads and writes every golden vector as the vector says, however the bytes arrive.

import assert from "node:assert/strict";
import { test } from "node:test";
import { DamagedRecord, frame, FrameReader, stuff, unframe, unstuff } from "../../../host/page/wire/frame.mjs";
import { COMMAND, DAMAGE, ERROR, FIELDS } from "../../../host/page/wire/layout.mjs";
import { build, packArguments, parse, readFields, unpackResults } from "../../../host/page/wire/records.mjs";
import { decode, readRuns } from "../../../host/page/wire/run.mjs";
import { hmac, keyId, Session } from "../../../host/page/wire/seal.mjs";
import * as layout from "../../../host/page/wire/layout.mjs";
import { cases, fromHex, toHex } from "./support.mjs";

/** Records (hex) and damage out of a stream, fed in pieces of `size` bytes. */
function drain(bytes, size, ending = true) {
  const reader = new FrameReader();
  const out = [];
  const take = () => {
    for (let item; (item = reader.next());) out.push(item.damaged ?? toHex(item.record));
  };
  for (let start = 0; start < bytes.length; start += size) {
    reader.receive(bytes.subarray(start, start + size));
    take();
  }
  if (ending) reader.end();
  take();
  return out;
}

/** The same whole, byte by byte, by threes and with bytes behind it. */
function everyWay(bytes) {
  const whole = drain(bytes, bytes.length || 1);
  assert.deepEqual(drain(bytes, 1), whole);
  assert.deepEqual(drain(bytes, 3), whole);
  const more = new Uint8Array([...bytes, 0, 0, 5, 1, 2]);
  assert.deepEqual(drain(more, more.length, false), whole);
  return whole;
}

/** A record's fields as the vectors write them. */
function shown(record) {
  const types = Object.fromEntries(record.name === null ? [["payload", "rest"]] : FIELDS[record.name]);
  const one = (name, value) => {
    if (types[name] === "samples") {
      return { counts: [...value.counts], steps: [...value.steps], quality: [...value.quality] };
    }
    if (types[name] === "means") {
      const columns = ["number", "quality", "step_ms", "mean", "lowest", "highest"];
      return Object.fromEntries(columns.map((column) => [column, value.map((mean) => mean[column])]));
    }
    if (types[name] === "f32") return toHex(new Uint8Array(Float32Array.of(value).buffer));
    return value instanceof Uint8Array ? toHex(value) : value;
  };
  return Object.fromEntries(Object.entries(record.fields).map(([name, value]) => [name, one(name, value)]));
}

function reasonOf(action) {
  try {
    action();
  } catch (error) {
    if (error instanceof DamagedRecord) return error.reason;
    throw error;
  }
  return 0;
}

test("valid: every record gives its header and fields, is written as it came, and arrives in any pieces", () => {
  for (const one of cases("valid")) {
    const bytes = fromHex(one.record);
    const record = parse(bytes);
    const { kind, version, run, index, name } = record;
    assert.deepEqual({ kind, version, run, index, name }, {
      kind: one.kind, version: one.version, run: one.run, index: one.index, name: one.name,
    }, one.id);
    assert.deepEqual(shown(record), one.fields, one.id);
    if (one.canonical) assert.equal(toHex(build(record)), one.record, one.id);
    else assert.deepEqual(shown(parse(build(record))), one.fields, one.id);
    assert.equal(toHex(frame(bytes)), one.frame, one.id);
    assert.equal(toHex(unstuff(stuff(bytes))), one.record, one.id);
    assert.deepEqual(everyWay(fromHex(one.frame)), [one.record], one.id);
  }
});

test("invalid: every stretch is refused with its reason, and does not hurt its neighbours", () => {
  const sound = frame(build({ kind: 99, run: 1, index: 1, fields: { payload: fromHex("736f756e64") } }));
  for (const one of cases("invalid")) {
    const body = fromHex(one.body);
    assert.equal(DAMAGE[one.error], one.value);
    const unframed = one.record === null ? () => unframe(body) : () => parse(fromHex(one.record));
    assert.equal(reasonOf(unframed), one.value, one.id);
    const { records, damaged } = decode(new Uint8Array([...sound, 0, ...body, 0, ...sound]));
    assert.deepEqual(damaged, [{ offset: sound.length + 1, length: body.length, reason: one.value }], one.id);
    assert.deepEqual(records.map(({ raw }) => toHex(frame(raw))), [toHex(sound), toHex(sound)], one.id);
  }
});

test("streams: exactly the named records are kept, damage is reported, runs have the named samples and gaps", async () => {
  for (const one of cases("streams")) {
    const bytes = fromHex(one.bytes);
    everyWay(bytes);
    const { records, damaged } = decode(bytes);
    assert.deepEqual(records.map(({ raw }) => toHex(raw)), one.records, one.id);
    assert.deepEqual(damaged, one.damage.map(({ offset, length, value }) => ({ offset, length, reason: value })), one.id);
    const runs = await readRuns(bytes);
    const found = runs.map((run) => ({
      number: run.number, missing_records: run.missingRecords, duplicates: run.duplicates,
      unknown_records: run.unknownRecords, complete: run.complete, missing_samples: run.missingSamples,
      samples: [...run.sample], counts: [...run.counts], time_us: [...run.timeUs],
      gaps: run.gaps.map(({ afterSample, missing, cause }) => ({ after_sample: afterSample, missing, cause })),
    }));
    const wanted = one.runs.map(({ records: _, means: __, ...run }) => run);
    const means = runs.map((run) => run.means.map(({ first, number, mean, lowest, highest, timeUs }) => (
      { first_sample: first, number, mean, lowest, highest, time_us: timeUs }
    )));
    assert.deepEqual(means, one.runs.map((run) => run.means ?? []), one.id);
    assert.deepEqual(found, wanted, one.id);
  }
});

test("seals: keys give their ids, sessions their proofs, commands their seals", async () => {
  for (const one of cases("seals")) {
    const [key, nonce, hostNonce, sealed] = [one.key, one.nonce, one.host_nonce, one.sealed].map(fromHex);
    assert.equal(toHex(await keyId(key)), one.key_id, one.id);
    assert.equal(toHex(await hmac(key, "breakyard session", nonce, hostNonce)), one.session_key, one.id);
    const session = new Session(key, { hostNonce, counter: one.counter - 1 });
    await session.begin(nonce, fromHex(one.proof));
    const name = Object.keys(COMMAND).find((command) => COMMAND[command] === sealed[0]);
    const packed = await session.seal(name, sealed.subarray(1));
    assert.equal(toHex(packed.subarray(4, 36)), one.tag, one.id);
    const fields = { command: COMMAND.SEALED, arguments: packed };
    assert.equal(toHex(build({ name: "COMMAND", index: 1, fields })), one.record, one.id);
    const spoilt = fromHex(one.proof);
    spoilt[31] ^= 1;
    await assert.rejects(new Session(key, { hostNonce }).begin(nonce, spoilt), { name: "WrongLogger" }, one.id);
  }
});

test("conversations: what is sent and what is expected reads and writes back", () => {
  let [commands, answers] = [0, 0];
  const names = Object.keys(COMMAND);
  for (const one of cases("conversations")) {
    for (const step of one.steps) {
      for (const { name, version, fields, raw } of decode(fromHex(step.send)).records) {
        const command = names.find((known) => COMMAND[known] === fields.command);
        if (name !== "COMMAND" || !command || version > layout.VERSION) continue;
        if (reasonOf(() => readFields(layout.ARGUMENTS[command], fields.arguments))) continue; // wrong on purpose
        const values = readFields(layout.ARGUMENTS[command], fields.arguments);
        assert.equal(toHex(packArguments(command, values)), toHex(fields.arguments), one.id);
        assert.ok(raw.length);
        commands++;
      }
      for (const { record } of step.expect) { // the others name fields, or an earlier record
        const { name, fields } = record ? parse(fromHex(record)) : {};
        if (name !== "ANSWER" || fields.error !== ERROR.OK) continue;
        unpackResults(names.find((known) => COMMAND[known] === fields.command), fields.results);
        answers++;
      }
    }
  }
  assert.ok(commands > 40 && answers > 20, `${commands} commands, ${answers} answers`);
});
