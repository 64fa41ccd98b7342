// Out of the browser: the runs as one .run file (records one after another are the format's own way of joining), what was
// said of them as CSV. Shared where the browser lets files be shared, else downloaded.

import { join } from "./wire/frame.mjs";
import { fileHead } from "./wire/records.mjs";

const COLUMNS = ["serial", "run", "specimen", "outcome", "note", "recorded", "purpose"];

/** A cell of a CSV file: quoted where it must be; one that a spreadsheet would take for a formula is made text (OWASP). */
export function cell(value) {
  let text = String(value ?? "").replace(/\p{Cc}/gu, (sign) => (sign === "\n" || sign === "\t" || sign === "\r" ? sign : ""));
  if (/^[=+\-@\t\r]/.test(text)) text = `'${text}`;
  return /[",\n\r]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

export function notesCsv(runs) {
  const rows = runs.map((run) => [run.serial, run.run, run.specimen, run.outcome, run.note, new Date(run.at).toISOString(), run.purpose ?? ""]);
  return [COLUMNS, ...rows].map((row) => `${row.map(cell).join(",")}\r\n`).join("");
}

/** Files of those runs: one .run, one .csv, the photos. */
export async function filesOf(store, runs, now = new Date()) {
  const stamp = now.toISOString().slice(0, 16).replace(/[-:]/g, "").replace("T", "-");
  const bytes = join([fileHead(), ...(await Promise.all(runs.map((run) => store.bytes(run.key))))]);
  const files = [
    new File([bytes], `pulls-${stamp}.run`, { type: "application/octet-stream" }),
    new File([notesCsv(runs)], `pulls-${stamp}.csv`, { type: "text/csv" }),
  ];
  for (const run of runs) {
    if (run.photo) files.push(new File([run.photo], `${run.specimen || run.key}.jpg`, { type: run.photo.type }));
  }
  return files;
}

/** Hand the files on; true once that is done, false if the person thought better of it. */
export async function handOn(files, navigator = globalThis.navigator) {
  if (navigator.canShare?.({ files })) {
    try {
      await navigator.share({ files });
      return true;
    } catch (error) {
      if (error.name === "AbortError") return false;
    }
  }
  for (const file of files) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(file);
    link.download = file.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  }
  return true;
}
