// An HX711 at two pins of an emulated chip, bit by bit (data sheet V2.0, "Serial Interface", "Reset and Power-Down").
//
// It converts at its own rate, whoever reads. DOUT goes low with each conversion; each rise of PD_SCK brings the next
// bit, the 25th takes DOUT high again. PD_SCK high for more than 60 us: asleep, until it falls; then four periods pass
// before the first conversion. A conversion that ends in the middle of a reading is lost, and counted. Each conversion
// has a count that follows from its number, so that whoever has the samples knows whether one is wrong or missing.
//
// Not shown: the choice of input by the number of pulses, which is only counted; noise; a count that creeps.

const ASLEEP_AFTER = 60e3;
const GIVEN_UP = 1e6; // without an edge for so long nobody is reading

export class Hx711 {
  /** `wire(level)` sets DOUT; `rate` is in conversions a second. */
  constructor(wire, rate) {
    this.out = true; // DOUT
    this.wire = (level) => {
      this.out = level;
      wire(level);
    };
    this.period = 1e9 / rate;
    this.load = 0; // counts that come on top from now on
    this.rise = 0; // and as many more with each conversion
    this.number = 0;
    this.stuck = false; // it converts no more
    this.made = []; // [moment in us, count] of each conversion
    this.lost = 0; // ended in the middle of a reading
    this.pulses = 0;
    this.shortest = Number.POSITIVE_INFINITY;
    this.longest = 0;
    this.readings = {}; // how often with so many pulses
    this.power(0);
  }

  power(now) {
    this.wire(true);
    this.clock = false;
    this.rose = 0;
    this.asleep = false;
    this.pulses = 0;
    this.reading = false;
    this.count = 0;
    this.next = now + 4 * this.period;
  }

  /** The count of a conversion without load: noise that follows from its number. */
  static at(number) {
    return 20401 + ((Math.imul(number + 1, 0x9e3779b1) >>> 8) % 199);
  }

  /** A conversion ends at `next`. */
  convert() {
    const now = this.next;
    this.next += this.period;
    if (this.asleep || this.stuck) return;
    if (this.reading && now - this.rose < GIVEN_UP) {
      this.lost += 1;
      return;
    }
    this.load += this.rise;
    this.count = Hx711.at(this.number) + this.load;
    this.number += 1;
    this.made.push([now / 1e3, this.count]);
    this.pulses = 0;
    this.wire(false);
  }

  /** PD_SCK has been high for so long by now that the chip sleeps. */
  get sleeps() {
    return this.clock && !this.asleep ? this.rose + ASLEEP_AFTER : Number.POSITIVE_INFINITY;
  }

  sleep() {
    this.asleep = true;
    this.reading = false;
    this.wire(true);
  }

  edge(level, now) {
    if (level === this.clock) return;
    this.clock = level;
    if (level) {
      this.rose = now;
      this.pulses += 1;
      this.reading = this.pulses < 25;
      if (this.pulses === 25) this.readings[25] = (this.readings[25] ?? 0) + 1;
      else if (this.pulses > 25) {
        this.readings[this.pulses] = (this.readings[this.pulses] ?? 0) + 1;
        this.readings[this.pulses - 1] -= 1;
      }
      this.wire(this.pulses > 24 || ((this.count >> (24 - this.pulses)) & 1) === 1);
      return;
    }
    if (this.asleep) {
      this.power(now);
      return;
    }
    this.shortest = Math.min(this.shortest, now - this.rose);
    this.longest = Math.max(this.longest, now - this.rose);
  }
}
