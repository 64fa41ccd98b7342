// The page's client against a logger that loses, repeats, refuses and lies.

import assert from "node:assert/strict";
import { test } from "node:test";
import { Client, LinkLost, Refused } from "../../../host/page/wire/client.mjs";
import { frame, FrameReader } from "../../../host/page/wire/frame.mjs";
import { ARGUMENTS, COMMAND, ERROR, RESULTS } from "../../../host/page/wire/layout.mjs";
import { build, parse, readFields, writeFields } from "../../../host/page/wire/records.mjs";
import { hmac, WrongLogger } from "../../../host/page/wire/seal.mjs";

const NAMES = new Map(Object.entries(COMMAND).map(([name, value]) => [value, name]));
const KEY = Uint8Array.from({ length: 32 }, (_, i) => i + 1);

/** A run of `many` records of a kind from the future, and an end that is one too. */
function runOf(many) {
  return Array.from({ length: many }, (_, index) => build({ kind: 99, run: 7, index, fields: { payload: [index & 255] } }));
}

/**
 * A link to a scripted logger. `answer(name, values, index)` gives a list of [record bytes | {error, results}]; what it sends
 * passes through `air`, which may drop it (null) or change it.
 */
class ScriptedLink {
  maxPacket = 20;
  readRecords = 4;
  commands = [];
  sends = 0;
  #reader = new FrameReader();
  #underWay = false;

  constructor(answer, air = (bytes) => bytes) {
    Object.assign(this, { answer, air });
  }

  listen(onBytes, onLost) {
    Object.assign(this, { onBytes, onLost });
  }

  async send(bytes) {
    assert.ok(!this.#underWay, "one send at a time");
    assert.ok(bytes.length <= this.maxPacket);
    this.#underWay = true;
    await null;
    this.#underWay = false;
    this.sends++;
    this.#reader.receive(bytes);
    for (let item; (item = this.#reader.next());) {
      const { index, fields } = parse(item.record);
      const name = NAMES.get(fields.command);
      const values = readFields(ARGUMENTS[name], fields.arguments);
      this.commands.push({ name, index, values });
      const reply = (await this.answer(name, values, index)) ?? [];
      for (const one of reply) this.#say(one, index, fields.command);
    }
  }

  #say(one, index, command) {
    if (!(one instanceof Uint8Array)) {
      const results = one.error ? new Uint8Array(0) : writeFields(RESULTS[NAMES.get(one.command ?? command)], one.results ?? {});
      const fields = { command: one.command ?? command, error: one.error ?? ERROR.OK, results };
      one = build({ name: "ANSWER", index, fields });
    }
    const bytes = this.air(frame(one));
    if (bytes) queueMicrotask(() => this.onBytes(bytes));
  }
}

/** Time-outs come at once, but after everything that is on its way. */
const soon = () => new Promise((resolve) => setTimeout(resolve, 5));

const clientOn = (link) => new Client(link, { firstIndex: 5, pause: soon });

/** Answers to READ out of a store, with `lost(index)` true for records that never come. */
function reads(records, lost = () => false) {
  return (name, { first, count }) => {
    if (name !== "READ") return [{}];
    const sent = records.slice(first, first + count);
    const next = first + sent.length;
    const results = { next, finished: next === records.length ? 1 : 0 };
    return [...sent.filter((_, i) => !lost(first + i)), { results }];
  };
}

test("an answer that was lost is asked for again with the same bytes, and then given up", async () => {
  let lose = 2;
  const link = new ScriptedLink(() => [{ results: { run: 3 } }], (bytes) => (lose-- > 0 ? null : bytes));
  assert.deepEqual(await clientOn(link).ask("STOP"), { run: 3 });
  assert.deepEqual(link.commands.map(({ index }) => index), [5, 5, 5]);

  await assert.rejects(clientOn(new ScriptedLink(() => [])).ask("STOP"), LinkLost);
});

test("an error is told by its name, and later commands go on with new numbers", async () => {
  const link = new ScriptedLink((name) => (name === "ARM" ? [{ error: ERROR.STORE_FULL }] : [{ results: { run: 0 } }]));
  const client = clientOn(link);
  await assert.rejects(client.ask("ARM"), (error) => error instanceof Refused && /STORE_FULL/.test(error.message));
  assert.deepEqual(await client.ask("STOP"), { run: 0 });
  assert.deepEqual(link.commands.map(({ index }) => index), [5, 6]);
});

test("commands asked for at once are sent one packet after another", async () => {
  const link = new ScriptedLink((name) => [{ results: name === "TIME" ? { now_s: 1, now_us: 2 } : { run: 1 } }]);
  const client = clientOn(link);
  const answers = await Promise.all([client.ask("TIME"), client.ask("STOP"), client.word(), client.ask("TIME")]);
  assert.deepEqual(answers[1], { run: 1 });
  assert.deepEqual(answers[3], { now_s: 1, now_us: 2 });
});

test("a run comes whole and in order: records lost on the way are asked for again, two READs are under way", async () => {
  const records = runOf(30);
  let passed = 0;
  const link = new ScriptedLink(reads(records, (index) => index === 9 && passed++ < 3));
  const kept = [];
  const end = await clientOn(link).readRun(7, (framed, record) => kept.push([record.index, framed]));
  assert.equal(end, null);
  assert.deepEqual(kept.map(([index]) => index), records.map((_, i) => i));
  assert.deepEqual(kept.map(([, framed]) => framed), records.map(frame));
  assert.deepEqual(link.commands.slice(0, 2).map(({ values }) => values.first), [0, 4]);
});

test("a record that the store has lost is passed by after sixteen READs", async () => {
  const kept = [];
  const link = new ScriptedLink(reads(runOf(12), (index) => index === 5 || index === 6));
  await clientOn(link).readRun(7, (_, record) => kept.push(record.index));
  assert.deepEqual(kept, [0, 1, 2, 3, 4, 7, 8, 9, 10, 11]);
});

test("a download goes on where a lost link stopped", async () => {
  const records = runOf(20);
  const kept = [];
  const keep = (_, record) => kept.push(record.index);
  let sent = 0;
  const link = new ScriptedLink(reads(records), (bytes) => {
    if (++sent === 8) queueMicrotask(() => link.onLost("gone"));
    return sent < 8 ? bytes : null;
  });
  await assert.rejects(clientOn(link).readRun(7, keep), LinkLost);
  const reached = kept.length;
  assert.ok(reached > 0 && reached < 20);
  await clientOn(new ScriptedLink(reads(records))).readRun(7, keep, { first: reached });
  assert.deepEqual(kept, records.map((_, i) => i));
});

test("where the logger lost with its power what is here already, there is nothing more", async () => {
  const link = new ScriptedLink((name) => (name === "READ" ? [{ error: ERROR.NO_SUCH_RECORD }] : [{}]));
  const client = clientOn(link);

  assert.equal(await client.readRun(7, () => assert.fail("nothing came"), { first: 20 }), null);
  await assert.rejects(client.readRun(7, () => {}), Refused);
});

test("a logger that goes on without records is not believed for ever", async () => {
  const link = new ScriptedLink((name, { first }) => [{ results: { next: first + 4, finished: 0 } }]);
  await assert.rejects(clientOn(link).readRun(7, () => {}), /without sending any records/);
  assert.ok(link.commands.length < 3000);
});

test("an answer beyond what was asked for is the logger's fault", async () => {
  const link = new ScriptedLink(() => [{ results: { next: 0xffffffff, finished: 0 } }]);
  await assert.rejects(clientOn(link).readRun(7, () => {}), /asked for those to 4/);
});

test("a session seals what follows; a logger without the key, or that denies having one, gets nothing", async () => {
  const seen = [];
  const honest = async (name, values) => {
    if (name === "CHALLENGE") {
      const nonce = new Uint8Array(32).fill(9);
      const sessionKey = await hmac(KEY, "breakyard session", nonce, values.host_nonce);
      return [{ results: { nonce, proof: await hmac(sessionKey, "logger") } }];
    }
    seen.push(name === "SEALED" ? [name, NAMES.get(values.sealed[0]), values.counter] : [name]);
    return [{ command: values.sealed[0], results: { run: 1 } }];
  };
  const client = clientOn(new ScriptedLink(honest));
  await client.unlock(KEY);
  await Promise.all([client.ask("STOP"), client.ask("STOP")]);
  assert.deepEqual(seen, [["SEALED", "STOP", 1], ["SEALED", "STOP", 2]]);

  // Who tells strangers nothing is asked for a proof of any of our keys, and then under a seal who it is.
  seen.length = 0;
  const secret = clientOn(new ScriptedLink(honest));
  await secret.unlock([new Uint8Array(32).fill(3), KEY, new Uint8Array(32).fill(4)]);
  await secret.ask("STOP");
  await assert.rejects(secret.hello());
  assert.deepEqual(seen, [["SEALED", "STOP", 1], ["SEALED", "HELLO", 2]]);
  await assert.rejects(clientOn(new ScriptedLink(honest)).unlock([new Uint8Array(32).fill(3)]), WrongLogger);

  for (const [reply, expected] of [
    [{ results: { nonce: new Uint8Array(32), proof: new Uint8Array(32) } }, WrongLogger],
    [{ error: ERROR.BAD_STATE }, Refused],
    [{ error: ERROR.UNKNOWN_COMMAND }, Refused],
  ]) {
    const link = new ScriptedLink(() => [reply]);
    const other = clientOn(link);
    await assert.rejects(other.unlock(KEY), expected);
    await assert.rejects(other.ask("STOP"), LinkLost);
    assert.deepEqual(link.commands.map(({ name }) => name), ["CHALLENGE"]);
  }
});

test("a logger that is asked too soon is asked again", async () => {
  let refusals = 2;
  const link = new ScriptedLink(async (_, values) => {
    if (refusals-- > 0) return [{ error: ERROR.TOO_SOON }];
    const sessionKey = await hmac(KEY, "breakyard session", new Uint8Array(32), values.host_nonce);
    return [{ results: { nonce: new Uint8Array(32), proof: await hmac(sessionKey, "logger") } }];
  });
  await clientOn(link).unlock(KEY);
  assert.equal(link.commands.length, 3);
});
