// Which READs to send next, without input and output: two under way, so that the link never waits for us.

/** A record that did not come this many times in a row, although it was sent past, is not in the store any more. */
const HOLE_AFTER = 16;

/** So many holes one after another, without a record between them, and the logger is not believed any more. */
const MAX_HOLES = 64;

/** The records of one run, wanted one after another from `wanted` on. */
export class Reading {
  #underWay = []; // {index: of the command, to: end of its records}
  #skipping = false;
  #passed = 0; // how often in a row the one wanted was sent past
  #beyond = null; // the first that came of those behind it
  #barren = 0; // holes since a record came

  constructor(run, { first = 0, count = 24, follow = false } = {}) {
    this.run = run;
    this.wanted = first;
    this.count = count;
    this.follow = follow;
    this.end = null;
    this.done = false;
    this.progress = 0;
    this.holes = [];
  }

  /** The `first` of a READ to be sent now, or null. */
  nextFirst() {
    if (this.done || this.#underWay.length === 2) return null;
    return this.#underWay.at(-1)?.to ?? this.wanted;
  }

  /** Note a READ as under way. */
  sent(index, first) {
    this.#underWay.push({ index, to: first + this.count });
  }

  /** The commands whose answers are still to come, in order. */
  get waitingFor() {
    return this.#underWay.map(({ index }) => index);
  }

  /** Look at a record that came; true if it is the one wanted next. A hole makes us ask anew. */
  take(record) {
    if (record.run !== this.run || record.index < this.wanted) return false;
    if (record.index > this.wanted) {
      this.#beyond = Math.min(record.index, this.#beyond ?? record.index);
      if (!this.#skipping) this.startOver();
      return false;
    }
    this.#skipping = false;
    this.#passed = 0;
    this.#barren = 0;
    this.#beyond = null;
    this.wanted++;
    this.progress++;
    if (record.name === "RUN_END") {
      this.end = record.fields;
      this.done = true;
    }
    return true;
  }

  /** Look at the answer to a READ. Throws RangeError for answers that no sound logger gives. */
  answered(index, next, finished) {
    const place = this.#underWay.findIndex((one) => one.index === index);
    const { to } = this.#underWay[place];
    if (next > to) throw new RangeError(`the logger says that it sent records to ${next} when asked for those to ${to}`);
    this.progress++;
    this.#underWay.splice(0, place + 1);
    if (this.wanted < next) {
      // The rest of what it sent was lost.
      if (++this.#passed === HOLE_AFTER) {
        if (++this.#barren > MAX_HOLES) throw new RangeError("the logger goes on without sending any records; is it faulty?");
        const after = Math.min(this.#beyond ?? next, next);
        this.holes.push([this.wanted, after - 1]);
        this.wanted = after;
        this.#passed = 0;
        this.#beyond = null;
      }
      this.startOver();
    } else if (finished || (!this.follow && next < to)) {
      this.done = true;
    }
  }

  /** Ask again from the record wanted; what is still on its way is skipped. */
  startOver() {
    this.#underWay = [];
    this.#skipping = true;
  }
}
