// One of the RP2040's two PIO blocks, in true time: RP2040 data sheet, chapter 3 (registers: 3.7).
//
// Time is in nanoseconds, as the emulator's clock has it. `run(until)` carries out every cycle of each machine that
// begins before then, earliest first; whoever reads or writes a register, or changes a pin, runs it to that moment
// before. Instructions take one cycle of the machine's divided clock and their delay; what stalls is tried again a
// cycle later. A fractional divider is kept on average, as the hardware does; its jitter of one system clock is not
// shown, nor are the two system clocks of the input synchroniser.

const TX_FULL_SHIFT = 16;
const TX_EMPTY_SHIFT = 24;
const RX_EMPTY_SHIFT = 8;
const LATEST = Number.POSITIVE_INFINITY;

const SIDE_EN = 1 << 30;
const SIDE_PINDIR = 1 << 29;
const STATUS_SEL = 1 << 4;
const AUTOPUSH = 1 << 16;
const AUTOPULL = 1 << 17;
const IN_RIGHT = 1 << 18;
const OUT_RIGHT = 1 << 19;
const JOIN_TX = 1 << 30;
const JOIN_RX = 1 << 31;

const ones = (count) => (count >= 32 ? 0xffffffff : (1 << count) - 1);

function reversed(word) {
  let result = 0;
  for (let bit = 0; bit < 32; bit++) if ((word >>> bit) & 1) result |= 1 << (31 - bit);
  return result >>> 0;
}

class Machine {
  constructor(block, index) {
    this.block = block;
    this.index = index;
    this.enabled = false;
    this.due = LATEST; // when its next cycle begins
    this.divider = 1 << 16;
    this.execCtrl = 0x1f << 12;
    this.shiftCtrl = 0b11 << 18;
    this.pinCtrl = 0b101 << 26;
    this.tx = [];
    this.rx = [];
    this.pc = 0;
    this.x = 0;
    this.y = 0;
    this.forced = -1; // an instruction written to INSTR, or by OUT or MOV to EXEC, that is still to be carried out
    this.restart();
  }

  restart() {
    this.isr = 0;
    this.isrCount = 0;
    this.osr = 0;
    this.osrCount = 32;
    this.forced = -1;
    this.irqWait = -1;
  }

  get period() {
    const whole = this.divider >>> 16 || 0x10000;
    return ((whole + ((this.divider >>> 8) & 0xff) / 256) * 1e9) / this.block.chip.clkSys;
  }

  get txRoom() {
    return this.shiftCtrl & JOIN_RX ? 0 : this.shiftCtrl & JOIN_TX ? 8 : 4;
  }

  get rxRoom() {
    return this.shiftCtrl & JOIN_TX ? 0 : this.shiftCtrl & JOIN_RX ? 8 : 4;
  }

  get pushAt() {
    return (this.shiftCtrl >>> 20) & 0x1f || 32;
  }

  get pullAt() {
    return (this.shiftCtrl >>> 25) & 0x1f || 32;
  }

  setShiftCtrl(value) {
    // Changing how the queues are joined empties both (3.7, SHIFTCTRL).
    if ((value ^ this.shiftCtrl) & (JOIN_TX | JOIN_RX)) {
      this.tx.length = 0;
      this.rx.length = 0;
    }
    this.shiftCtrl = value >>> 0;
    this.block.told(this);
  }

  // One cycle; returns how many cycles until the next, 1 and the delay.
  step() {
    const forced = this.forced >= 0;
    const op = forced ? this.forced : this.block.memory[this.pc];
    const at = this.pc;
    this.forced = -1;
    this.jumped = false;
    if (!this.carryOut(op)) {
      if (forced && this.forced < 0) this.forced = op;
      return 1;
    }
    if (this.forced >= 0 && !forced) this.next(at);
    else if (!this.jumped && !forced) this.next(at);
    return 1 + (forced ? 0 : (op >>> 8) & this.delayMask);
  }

  next(at) {
    this.pc = at === ((this.execCtrl >>> 12) & 0x1f) ? (this.execCtrl >>> 7) & 0x1f : (at + 1) & 0x1f;
  }

  get delayMask() {
    return 0x1f >> (this.pinCtrl >>> 29);
  }

  // False when it stalls. The side-set takes effect as the instruction begins, stalled or not.
  carryOut(op) {
    const sides = this.pinCtrl >>> 29;
    if (sides) {
      const optional = (this.execCtrl & SIDE_EN) !== 0;
      if (!optional || op & 0x1000) {
        const width = sides - (optional ? 1 : 0);
        const value = ((op >>> 8) & 0x1f & (optional ? 0xf : 0x1f)) >> (5 - sides);
        this.block.drive((this.pinCtrl >>> 10) & 0x1f, width, value, (this.execCtrl & SIDE_PINDIR) !== 0);
      }
    }
    const low = op & 0xff;
    switch (op >>> 13) {
      case 0:
        return this.jump(low);
      case 1:
        return this.wait(low);
      case 2:
        return this.shiftIn(low);
      case 3:
        return this.shiftOut(low);
      case 4:
        return low & 0x80 ? this.pull(low) : this.push(low);
      case 5:
        return this.move(low);
      case 6:
        return this.irq(low);
      default:
        return this.set(low);
    }
  }

  jump(low) {
    let taken = true;
    switch (low >> 5) {
      case 1:
        taken = this.x === 0;
        break;
      case 2:
        taken = this.x !== 0;
        this.x = (this.x - 1) >>> 0;
        break;
      case 3:
        taken = this.y === 0;
        break;
      case 4:
        taken = this.y !== 0;
        this.y = (this.y - 1) >>> 0;
        break;
      case 5:
        taken = this.x !== this.y;
        break;
      case 6:
        taken = this.block.level((this.execCtrl >>> 24) & 0x1f);
        break;
      case 7:
        taken = this.osrCount < this.pullAt;
        break;
    }
    if (taken) {
      this.pc = low & 0x1f;
      this.jumped = true;
    }
    return true;
  }

  wait(low) {
    const wanted = (low & 0x80) !== 0;
    const index = low & 0x1f;
    switch ((low >> 5) & 3) {
      case 0:
        return this.block.level(index) === wanted;
      case 1:
        return this.block.level((index + ((this.pinCtrl >>> 15) & 0x1f)) & 0x1f) === wanted;
      case 2: {
        const flag = 1 << this.flag(index);
        if (((this.block.irqs & flag) !== 0) !== wanted) return false;
        if (wanted) this.block.setIrqs(this.block.irqs & ~flag);
        return true;
      }
    }
    return true;
  }

  flag(index) {
    return index & 0x10 ? (index & 4) | ((index + this.index) & 3) : index & 7;
  }

  inPins() {
    const from = (this.pinCtrl >>> 15) & 0x1f;
    const levels = this.block.levels();
    return ((levels >>> from) | (from ? levels << (32 - from) : 0)) >>> 0;
  }

  source(which) {
    switch (which) {
      case 0:
        return this.inPins();
      case 1:
        return this.x;
      case 2:
        return this.y;
      case 5: {
        const level = this.execCtrl & STATUS_SEL ? this.rx.length : this.tx.length;
        return level < (this.execCtrl & 0xf) ? 0xffffffff : 0;
      }
      case 6:
        return this.isr;
      case 7:
        return this.osr;
    }
    return 0;
  }

  shiftIn(low) {
    const count = low & 0x1f || 32;
    const full = this.shiftCtrl & AUTOPUSH && Math.min(32, this.isrCount + count) >= this.pushAt;
    if (full && this.rx.length >= this.rxRoom) return false;
    const value = this.source(low >> 5) & ones(count);
    if (count === 32) this.isr = value >>> 0;
    else if (this.shiftCtrl & IN_RIGHT) this.isr = ((this.isr >>> count) | (value << (32 - count))) >>> 0;
    else this.isr = ((this.isr << count) | value) >>> 0;
    this.isrCount = Math.min(32, this.isrCount + count);
    if (full) this.give();
    return true;
  }

  give() {
    this.rx.push(this.isr);
    this.isr = 0;
    this.isrCount = 0;
    this.block.told(this);
  }

  take() {
    this.osr = this.tx.shift();
    this.osrCount = 0;
    this.block.told(this);
  }

  shiftOut(low) {
    if (this.shiftCtrl & AUTOPULL && this.osrCount >= this.pullAt) {
      if (!this.tx.length) return false;
      this.take();
    }
    const count = low & 0x1f || 32;
    let value;
    if (this.shiftCtrl & OUT_RIGHT) {
      value = (this.osr & ones(count)) >>> 0;
      this.osr = count === 32 ? 0 : this.osr >>> count;
    } else {
      value = count === 32 ? this.osr : this.osr >>> (32 - count);
      this.osr = count === 32 ? 0 : (this.osr << count) >>> 0;
    }
    this.osrCount = Math.min(32, this.osrCount + count);
    switch (low >> 5) {
      case 0:
        this.block.drive(this.pinCtrl & 0x1f, (this.pinCtrl >>> 20) & 0x3f, value, false);
        break;
      case 1:
        this.x = value;
        break;
      case 2:
        this.y = value;
        break;
      case 4:
        this.block.drive(this.pinCtrl & 0x1f, (this.pinCtrl >>> 20) & 0x3f, value, true);
        break;
      case 5:
        this.pc = value & 0x1f;
        this.jumped = true;
        break;
      case 6:
        this.isr = value;
        this.isrCount = count;
        break;
      case 7:
        this.forced = value & 0xffff;
        break;
    }
    if (this.shiftCtrl & AUTOPULL && this.osrCount >= this.pullAt && this.tx.length) this.take();
    return true;
  }

  push(low) {
    if (low & 0x40 && this.isrCount < this.pushAt) return true;
    if (this.rx.length >= this.rxRoom) {
      this.block.debug |= 1 << this.index; // RXSTALL
      if (low & 0x20) return false;
      this.isr = 0;
      this.isrCount = 0;
      return true;
    }
    this.give();
    return true;
  }

  pull(low) {
    if (low & 0x40 && this.osrCount < this.pullAt) return true;
    if (this.shiftCtrl & AUTOPULL && this.osrCount < this.pullAt) return true; // 3.4.7: then it does nothing
    if (this.tx.length) {
      this.take();
      return true;
    }
    this.block.debug |= 1 << (24 + this.index); // TXSTALL
    if (low & 0x20) return false;
    this.osr = this.x;
    this.osrCount = 0;
    return true;
  }

  move(low) {
    let value = this.source(low & 7);
    const how = (low >> 3) & 3;
    if (how === 1) value = ~value >>> 0;
    else if (how === 2) value = reversed(value);
    switch (low >> 5) {
      case 0:
        this.block.drive(this.pinCtrl & 0x1f, (this.pinCtrl >>> 20) & 0x3f, value, false);
        break;
      case 1:
        this.x = value;
        break;
      case 2:
        this.y = value;
        break;
      case 4:
        this.forced = value & 0xffff;
        break;
      case 5:
        this.pc = value & 0x1f;
        this.jumped = true;
        break;
      case 6:
        this.isr = value;
        this.isrCount = 0;
        break;
      case 7:
        this.osr = value;
        this.osrCount = 0;
        break;
    }
    return true;
  }

  irq(low) {
    const flag = 1 << this.flag(low & 0x1f);
    if (low & 0x40) {
      this.block.setIrqs(this.block.irqs & ~flag);
      return true;
    }
    if (this.irqWait >= 0) {
      if (this.block.irqs & flag) return false;
      this.irqWait = -1;
      return true;
    }
    this.block.setIrqs(this.block.irqs | flag);
    if (low & 0x20) {
      this.irqWait = flag;
      return false;
    }
    return true;
  }

  set(low) {
    const value = low & 0x1f;
    switch (low >> 5) {
      case 0:
        this.block.drive((this.pinCtrl >>> 5) & 0x1f, (this.pinCtrl >>> 26) & 7, value, false);
        break;
      case 1:
        this.x = value;
        break;
      case 2:
        this.y = value;
        break;
      case 4:
        this.block.drive((this.pinCtrl >>> 5) & 0x1f, (this.pinCtrl >>> 26) & 7, value, true);
        break;
    }
    return true;
  }

  // Written to INSTR: at once, whatever the divider and whether it runs; what stalls is kept.
  force(op) {
    this.forced = -1;
    this.jumped = false;
    const done = this.carryOut(op);
    if (!done) this.forced = op;
  }
}

export class Pio {
  /** `chip` is rp2040js's RP2040; `bring(block)` runs everything that has pins up to the clock's time. */
  constructor(chip, index, bring) {
    this.chip = chip;
    this.index = index;
    this.bring = bring;
    this.now = 0;
    this.memory = new Uint16Array(32);
    this.machines = []; // what rp2040js's pins look at; there is nothing that they would have to do
    this.parts = [0, 1, 2, 3].map((i) => new Machine(this, i));
    this.pinValues = 0;
    this.pinDirections = 0;
    this.irqs = 0;
    this.debug = 0;
    this.bypass = 0;
    this.enable = [0, 0];
    this.force = [0, 0];
    this.parts.forEach((machine) => this.told(machine));
  }

  run(until) {
    for (;;) {
      let first = null;
      let second = LATEST;
      for (const machine of this.parts) {
        if (!machine.enabled) continue;
        if (first === null || machine.due < first.due) {
          if (first !== null) second = Math.min(second, first.due);
          first = machine;
        } else second = Math.min(second, machine.due);
      }
      if (first === null || first.due > until) break;
      const period = first.period;
      const end = Math.min(until, second);
      do {
        this.now = first.due;
        first.due += period * first.step();
      } while (first.due <= end);
    }
    if (this.now < until) this.now = until;
  }

  level(pin) {
    const gpio = this.chip.gpio[pin];
    if (gpio === undefined) return false;
    return gpio.outputEnable ? gpio.outputValue : gpio.inputValue;
  }

  levels() {
    let result = 0;
    for (let pin = 0; pin < this.chip.gpio.length; pin++) if (this.level(pin)) result |= 1 << pin;
    return result >>> 0;
  }

  drive(from, count, value, directions) {
    const old = directions ? this.pinDirections : this.pinValues;
    let now = old;
    for (let i = 0; i < count; i++) {
      const bit = 1 << ((from + i) & 0x1f);
      now = (value >>> i) & 1 ? now | bit : now & ~bit;
    }
    if (now === old) return;
    if (directions) this.pinDirections = now;
    else this.pinValues = now;
    for (let i = 0; i < count; i++) this.chip.gpio[(from + i) & 0x1f]?.checkForUpdates();
  }

  // A machine's queues have changed: who waits for them?
  told(machine) {
    const dma = this.chip.dma;
    const base = 8 * this.index + machine.index; // DREQ_PIO0_TX0 is 0, RX0 4, PIO1's 8 more (2.5.3.1)
    if (machine.tx.length < machine.txRoom) dma.setDREQ(base);
    else dma.clearDREQ(base);
    if (machine.rx.length) dma.setDREQ(base + 4);
    else dma.clearDREQ(base + 4);
    if (this.enable[0] | this.enable[1]) this.interrupt();
  }

  setIrqs(value) {
    this.irqs = value & 0xff;
    this.interrupt();
  }

  get raw() {
    let result = (this.irqs & 0xf) << 8;
    this.parts.forEach((machine, i) => {
      if (machine.rx.length) result |= 1 << i;
      if (machine.tx.length < machine.txRoom) result |= 1 << (4 + i);
    });
    return result;
  }

  interrupt() {
    for (let line = 0; line < 2; line++) {
      const on = (this.raw & this.enable[line]) | this.force[line];
      this.chip.setInterrupt(7 + 2 * this.index + line, on !== 0); // PIO0_IRQ_0 is 7 (2.3.2)
    }
  }

  get status() {
    let result = 0;
    this.parts.forEach((machine, i) => {
      if (machine.rx.length >= machine.rxRoom) result |= 1 << i;
      if (!machine.rx.length) result |= 1 << (RX_EMPTY_SHIFT + i);
      if (machine.tx.length >= machine.txRoom) result |= 1 << (TX_FULL_SHIFT + i);
      if (!machine.tx.length) result |= 1 << (TX_EMPTY_SHIFT + i);
    });
    return result >>> 0;
  }

  readUint32(offset) {
    this.bring();
    return this.peek(offset & 0xfff);
  }

  peek(offset) {
    if (offset >= 0xc8 && offset < 0x128) {
      const machine = this.parts[Math.floor((offset - 0xc8) / 0x18)];
      switch ((offset - 0xc8) % 0x18) {
        case 0x00:
          return machine.divider;
        case 0x04:
          return ((machine.execCtrl & 0x7fffffff) | (machine.forced >= 0 ? 1 << 31 : 0)) >>> 0;
        case 0x08:
          return machine.shiftCtrl;
        case 0x0c:
          return machine.pc;
        case 0x10:
          return machine.forced >= 0 ? machine.forced : this.memory[machine.pc];
        case 0x14:
          return machine.pinCtrl;
      }
    }
    if (offset >= 0x48 && offset < 0xc8) return this.memory[(offset - 0x48) >> 2];
    if (offset >= 0x20 && offset < 0x30) {
      const machine = this.parts[(offset - 0x20) >> 2];
      if (!machine.rx.length) {
        this.debug |= 1 << (8 + machine.index); // RXUNDER
        return 0;
      }
      const word = machine.rx.shift();
      this.told(machine);
      return word;
    }
    switch (offset) {
      case 0x00:
        return this.parts.reduce((all, machine) => all | (machine.enabled ? 1 << machine.index : 0), 0);
      case 0x04:
        return this.status;
      case 0x08:
        return this.debug >>> 0;
      case 0x0c:
        return (
          this.parts.reduce(
            (all, machine, i) => all | (machine.tx.length << (8 * i)) | (machine.rx.length << (8 * i + 4)),
            0,
          ) >>> 0
        );
      case 0x30:
        return this.irqs;
      case 0x38:
        return this.bypass;
      case 0x3c:
        return this.pinValues >>> 0;
      case 0x40:
        return this.pinDirections >>> 0;
      case 0x44:
        return 0x200404; // 32 instructions, 4 machines, queues of 4
      case 0x128:
        return this.raw;
      case 0x12c:
      case 0x138:
        return this.enable[offset === 0x138 ? 1 : 0];
      case 0x130:
      case 0x13c:
        return this.force[offset === 0x13c ? 1 : 0];
      case 0x134:
        return (this.raw & this.enable[0]) | this.force[0];
      case 0x140:
        return (this.raw & this.enable[1]) | this.force[1];
    }
    return 0;
  }

  // Aliases of a register that exclusive-or, set or clear (2.1.2); a read of the others changes nothing.
  writeUint32Atomic(offset, value, how) {
    this.bring();
    const at = offset & 0xfff;
    if (how === 0 || (at >= 0x10 && at < 0x30) || at === 0x08 || at === 0x30) {
      this.poke(at, value >>> 0);
      return;
    }
    const old = this.peek(at);
    this.poke(at, (how === 1 ? old ^ value : how === 2 ? old | value : old & ~value) >>> 0);
  }

  writeUint32(offset, value) {
    this.writeUint32Atomic(offset, value, 0);
  }

  poke(offset, value) {
    if (offset >= 0xc8 && offset < 0x128) {
      const machine = this.parts[Math.floor((offset - 0xc8) / 0x18)];
      switch ((offset - 0xc8) % 0x18) {
        case 0x00:
          machine.divider = value;
          break;
        case 0x04:
          machine.execCtrl = value & 0x7fffffff;
          break;
        case 0x08:
          machine.setShiftCtrl(value);
          break;
        case 0x10:
          machine.force(value & 0xffff);
          break;
        case 0x14:
          machine.pinCtrl = value;
          break;
      }
      return;
    }
    if (offset >= 0x48 && offset < 0xc8) {
      this.memory[(offset - 0x48) >> 2] = value;
      return;
    }
    if (offset >= 0x10 && offset < 0x20) {
      const machine = this.parts[(offset - 0x10) >> 2];
      if (machine.tx.length >= machine.txRoom) this.debug |= 1 << (16 + machine.index); // TXOVER
      else {
        machine.tx.push(value);
        this.told(machine);
      }
      return;
    }
    switch (offset) {
      case 0x00:
        this.parts.forEach((machine, i) => {
          if ((value >> (4 + i)) & 1) machine.restart();
          const on = ((value >> i) & 1) === 1;
          if (on && (!machine.enabled || (value >> (8 + i)) & 1)) machine.due = this.now;
          machine.enabled = on;
        });
        break;
      case 0x08:
        this.debug &= ~value;
        break;
      case 0x30:
        this.setIrqs(this.irqs & ~value);
        break;
      case 0x34:
        this.setIrqs(this.irqs | value);
        break;
      case 0x38:
        this.bypass = value;
        break;
      case 0x12c:
      case 0x138:
        this.enable[offset === 0x138 ? 1 : 0] = value & 0xfff;
        this.interrupt();
        break;
      case 0x130:
      case 0x13c:
        this.force[offset === 0x13c ? 1 : 0] = value & 0xfff;
        this.interrupt();
        break;
    }
  }
}
