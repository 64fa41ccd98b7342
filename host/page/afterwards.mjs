// What the page alone can tell of a run: the curve, the largest sample, and how far the true peak may lie above it. It never
// tells a peak with an interval: only the computer's reading does.

import { loadN, mayLieAbove } from "./live.mjs";
import { END_CAUSE } from "./wire/layout.mjs";
import { readRuns } from "./wire/run.mjs";

const RISE_S = 0.3; // the rise just before the largest sample is what a filter hides

/** What ended a run before its pull did, in a sentence. */
const CUT_SHORT = Object.freeze({
  [END_CAUSE.STORE_FULL]: "The logger's store was full: what came after is not here, and the true peak may lie above.",
  [END_CAUSE.POWER_LOST]: "The logger restarted in the pull: what came after is not here, and the true peak may lie above.",
  [END_CAUSE.MEMORY_LOST]: "The logger restarted in the pull and lost it; arm it again.",
});

/**
 * {time (s), load (N), largest: {time, load, above}, clipped, complete, cutShort, samples} of the run in those bytes, or null if they
 * hold none. `cutShort` is a sentence, or "". `above` is the share by which the true peak may lie above, null where that is not known.
 */
export async function look(bytes, calibration) {
  const [run] = await readRuns(bytes);
  if (!run?.counts.length) return null;
  const zero = run.begin?.baseline_counts ?? run.counts[0];
  const time = Array.from(run.timeUs, (us) => us / 1e6);
  const force = calibration ? (counts) => loadN(calibration, counts, zero) : (counts) => counts - zero;
  const load = Array.from(run.counts, force);
  let top = 0;
  let clipped = false;
  for (let i = 0; i < load.length; i++) {
    if (load[i] > load[top]) top = i;
    if (run.quality[i] === 2) clipped = true;
  }
  let first = top;
  while (first > 0 && time[top] - time[first - 1] <= RISE_S) first--;
  const ramp = top - first > 3 ? (load[top] - load[first]) / (time[top] - time[first]) : 0;
  const rateHz = run.begin?.rate_mhz ? run.begin.rate_mhz / 1000 : (time.length - 1) / (time.at(-1) - time[0]);
  return {
    time, load, clipped, complete: run.complete, cutShort: CUT_SHORT[run.end?.cause] ?? "", samples: load.length, gaps: run.gaps.length,
    largest: { time: time[top], load: load[top], above: mayLieAbove(ramp, rateHz, load[top]) },
  };
}
