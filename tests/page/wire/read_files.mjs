// Reads many files out of one (each with its length before it, u32) and prints what the page's reader says of each, a line of
// JSON per file, in the shape of test_mutated_files.py.

import { readFileSync } from "node:fs";
import { decode, readRuns } from "../../../host/page/wire/run.mjs";

const all = new Uint8Array(readFileSync(process.argv[2]));
const view = new DataView(all.buffer, all.byteOffset);
const lines = [];
for (let at = 0; at < all.length;) {
  const length = view.getUint32(at, true);
  const bytes = all.subarray(at + 4, at + 4 + length);
  at += 4 + length;
  const runs = await readRuns(bytes);
  lines.push(JSON.stringify({
    damage: decode(bytes).damaged.map(({ offset, length: size, reason }) => [offset, size, reason]),
    runs: runs.map((run) => ({
      number: run.number,
      counts: [...run.counts],
      time_us: [...run.timeUs],
      quality: [...run.quality],
      gaps: run.gaps.map(({ afterSample, missing, cause }) => [afterSample, missing, cause]),
      missing_records: run.missingRecords,
      missing_samples: run.missingSamples,
      unknown_records: run.unknownRecords,
      marks: run.marks.length,
      complete: run.complete,
      damaged: run.damaged.length,
    })),
  }));
}
process.stdout.write(`${lines.join("\n")}\n`);
