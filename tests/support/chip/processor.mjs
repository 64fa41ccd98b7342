// Carries out a chip's instructions several times as fast as rp2040js does by itself, in bursts.
//
// ARMv6-M Architecture Reference Manual, A6.7: the instructions of 16 bits that compilers write. Everything else (those
// of 32 bits but BL, interrupts, special registers, sleeping, what is at odd addresses) is left to rp2040js's own
// core, whose registers and flags these are. Cycles as in the Cortex-M0+ Technical Reference Manual, 3.3.

const RAM = 0x20000000;
const RAM_BYTES = 264 * 1024;
const FLASH = 0x10000000;

const [
  LSL_I, LSR_I, ASR_I, ADD_R, SUB_R, ADD_3, SUB_3, MOV_I, CMP_I, ADD_8, SUB_8, AND, EOR, LSL, LSR, ASR, TST, NEG, CMP,
  CMN, ORR, MUL, BIC, MVN, ADC, SBC, ADD_H, CMP_H, MOV_H, BX, BLX, LDR_L, STR_R, STRH_R, STRB_R, LDRSB_R, LDR_R, LDRH_R,
  LDRB_R, LDRSH_R, STR_I, LDR_I, STRB_I, LDRB_I, STRH_I, LDRH_I, STR_S, LDR_S, ADR, ADD_S, SP_UP, SP_DOWN, SXTH, SXTB,
  UXTH, UXTB, PUSH, POP, STM, LDM, B_IF, B, BL,
] = Array.from({ length: 63 }, (_, i) => i + 1);

function kindOf(op) {
  switch (op >>> 11) {
    case 0b00000:
      return LSL_I;
    case 0b00001:
      return LSR_I;
    case 0b00010:
      return ASR_I;
    case 0b00011:
      return [ADD_R, SUB_R, ADD_3, SUB_3][(op >>> 9) & 3];
    case 0b00100:
      return MOV_I;
    case 0b00101:
      return CMP_I;
    case 0b00110:
      return ADD_8;
    case 0b00111:
      return SUB_8;
    case 0b01001:
      return LDR_L;
    case 0b01010:
    case 0b01011:
      return [STR_R, STRH_R, STRB_R, LDRSB_R, LDR_R, LDRH_R, LDRB_R, LDRSH_R][(op >>> 9) & 7];
    case 0b01100:
      return STR_I;
    case 0b01101:
      return LDR_I;
    case 0b01110:
      return STRB_I;
    case 0b01111:
      return LDRB_I;
    case 0b10000:
      return STRH_I;
    case 0b10001:
      return LDRH_I;
    case 0b10010:
      return STR_S;
    case 0b10011:
      return LDR_S;
    case 0b10100:
      return ADR;
    case 0b10101:
      return ADD_S;
    case 0b11000:
      return STM;
    case 0b11001:
      return LDM;
    case 0b11100:
      return B;
    case 0b11110:
      return BL;
  }
  if (op >>> 10 === 0b010000) {
    return [AND, EOR, LSL, LSR, ASR, ADC, SBC, 0, TST, NEG, CMP, CMN, ORR, MUL, BIC, MVN][(op >>> 6) & 15];
  }
  if (op >>> 10 === 0b010001) {
    const kind = (op >>> 8) & 3;
    if (kind === 3) return op & 7 ? 0 : op & 0x80 ? BLX : BX;
    const d = ((op >>> 4) & 8) | (op & 7);
    if (kind === 1) return CMP_H;
    return d === 15 || d === 13 ? 0 : kind === 0 ? ADD_H : MOV_H;
  }
  if (op >>> 8 === 0b10110000) return op & 0x80 ? SP_DOWN : SP_UP;
  if (op >>> 8 === 0b10110010) return [SXTH, SXTB, UXTH, UXTB][(op >>> 6) & 3];
  if (op >>> 9 === 0b1011010) return PUSH;
  if (op >>> 9 === 0b1011110) return POP;
  if (op >>> 12 === 0b1101 && ((op >>> 8) & 15) < 14) return B_IF;
  return 0;
}

const KIND = Uint8Array.from({ length: 65536 }, (_, op) => kindOf(op));

/** `settle(cycles)` lets the clock go on; `fetch(line)` is told of each line of flash that is read. */
export function quick(mcu, hooks, settle, fetch) {
  const core = mcu.core;
  const R = core.registers;
  const ram8 = mcu.sram;
  const ram16 = new Uint16Array(ram8.buffer);
  const ram32 = new Uint32Array(ram8.buffer);
  const flash8 = mcu.flash;
  const flash16 = new Uint16Array(flash8.buffer);
  const flash32 = new Uint32Array(flash8.buffer);
  const FLASH_BYTES = flash8.length;
  let cycles = 0;
  let line = -1; // of flash, as read last

  function read32(address) {
    const at = (address - RAM) >>> 0;
    if (at < RAM_BYTES && !(at & 3)) {
      cycles += 1;
      return ram32[at >>> 2];
    }
    const from = (address - FLASH) >>> 0;
    if (from < FLASH_BYTES && !(from & 3)) {
      cycles += 1;
      if (from >>> 3 !== line) {
        line = from >>> 3;
        fetch(line);
      }
      return flash32[from >>> 2];
    }
    return slow(address, 'readUint32');
  }

  function read16(address) {
    const at = (address - RAM) >>> 0;
    if (at < RAM_BYTES && !(at & 1)) {
      cycles += 1;
      return ram16[at >>> 1];
    }
    const from = (address - FLASH) >>> 0;
    if (from < FLASH_BYTES && !(from & 1)) {
      cycles += 1;
      if (from >>> 3 !== line) {
        line = from >>> 3;
        fetch(line);
      }
      return flash16[from >>> 1];
    }
    return slow(address, 'readUint16');
  }

  function read8(address) {
    const at = (address - RAM) >>> 0;
    if (at < RAM_BYTES) {
      cycles += 1;
      return ram8[at];
    }
    const from = (address - FLASH) >>> 0;
    if (from < FLASH_BYTES) {
      cycles += 1;
      if (from >>> 3 !== line) {
        line = from >>> 3;
        fetch(line);
      }
      return flash8[from];
    }
    return slow(address, 'readUint8');
  }

  function slow(address, how) {
    cycles += core.cyclesIO(address);
    if (address >>> 28 >= 4) now();
    return core[how](address);
  }

  function write32(address, value) {
    const at = (address - RAM) >>> 0;
    if (at < RAM_BYTES && !(at & 3)) {
      cycles += 1;
      ram32[at >>> 2] = value;
    } else {
      cycles += core.cyclesIO(address, true);
      now();
      core.writeUint32(address, value >>> 0);
    }
  }

  function write16(address, value) {
    const at = (address - RAM) >>> 0;
    if (at < RAM_BYTES && !(at & 1)) {
      cycles += 1;
      ram16[at >>> 1] = value;
    } else {
      cycles += core.cyclesIO(address, true);
      now();
      core.writeUint16(address, value & 0xffff);
    }
  }

  function write8(address, value) {
    const at = (address - RAM) >>> 0;
    if (at < RAM_BYTES) {
      cycles += 1;
      ram8[at] = value;
    } else {
      cycles += core.cyclesIO(address, true);
      now();
      core.writeUint8(address, value & 0xff);
    }
  }

  function now() {
    settle(cycles);
    cycles = 0;
  }

  function put(to, value) {
    R[to] = value;
    core.N = value < 0;
    core.Z = value === 0;
  }

  function sum(a, b, carry) {
    const wide = (a >>> 0) + (b >>> 0) + carry;
    const result = wide | 0;
    core.N = result < 0;
    core.Z = result === 0;
    core.C = wide > 0xffffffff;
    core.V = ((a ^ result) & (b ^ result)) < 0;
    return result;
  }

  function holds(condition) {
    switch (condition) {
      case 0:
        return core.Z;
      case 1:
        return !core.Z;
      case 2:
        return core.C;
      case 3:
        return !core.C;
      case 4:
        return core.N;
      case 5:
        return !core.N;
      case 6:
        return core.V;
      case 7:
        return !core.V;
      case 8:
        return core.C && !core.Z;
      case 9:
        return !core.C || core.Z;
      case 10:
        return core.N === core.V;
      case 11:
        return core.N !== core.V;
      case 12:
        return !core.Z && core.N === core.V;
      default:
        return core.Z || core.N !== core.V;
    }
  }

  // Up to so many instructions; fewer when the processor sleeps. Returns how many there were.
  return function burst(limit) {
    let left = limit;
    while (left > 0 && !core.waiting) {
      left -= 1;
      const pc = R[15];
      let op;
      if (core.interruptsUpdated) op = -1;
      else if ((pc - FLASH) >>> 0 < FLASH_BYTES) {
        const from = (pc - FLASH) >>> 0;
        if (from >>> 3 !== line) {
          line = from >>> 3;
          fetch(line);
        }
        op = flash16[from >>> 1];
      } else if ((pc - RAM) >>> 0 < RAM_BYTES) op = ram16[((pc - RAM) >>> 0) >>> 1];
      else {
        const hook = hooks.get(pc);
        if (hook) {
          now();
          line = -1;
          hook();
          R[15] = core.LR & ~1;
          continue;
        }
        op = -1;
      }
      const kind = op < 0 ? 0 : KIND[op];
      if (kind === 0) {
        now();
        cycles += core.executeInstruction();
        continue;
      }
      R[15] = pc + 2;
      cycles += 1;
      const d = op & 7;
      const m = (op >>> 3) & 7;
      switch (kind) {
        case LSL_I: {
          const by = (op >>> 6) & 31;
          const value = R[m] | 0;
          if (by) core.C = ((value >>> (32 - by)) & 1) === 1;
          put(d, value << by);
          break;
        }
        case LSR_I: {
          const by = (op >>> 6) & 31;
          const value = R[m];
          core.C = ((value >>> (by ? by - 1 : 31)) & 1) === 1;
          put(d, by ? (value >>> by) | 0 : 0);
          break;
        }
        case ASR_I: {
          const by = (op >>> 6) & 31;
          const value = R[m] | 0;
          core.C = ((value >> (by ? by - 1 : 31)) & 1) === 1;
          put(d, value >> (by || 31));
          break;
        }
        case ADD_R:
          R[d] = sum(R[m] | 0, R[(op >>> 6) & 7] | 0, 0);
          break;
        case SUB_R:
          R[d] = sum(R[m] | 0, ~R[(op >>> 6) & 7], 1);
          break;
        case ADD_3:
          R[d] = sum(R[m] | 0, (op >>> 6) & 7, 0);
          break;
        case SUB_3:
          R[d] = sum(R[m] | 0, ~((op >>> 6) & 7), 1);
          break;
        case MOV_I:
          put((op >>> 8) & 7, op & 0xff);
          break;
        case CMP_I:
          sum(R[(op >>> 8) & 7] | 0, ~(op & 0xff), 1);
          break;
        case ADD_8: {
          const to = (op >>> 8) & 7;
          R[to] = sum(R[to] | 0, op & 0xff, 0);
          break;
        }
        case SUB_8: {
          const to = (op >>> 8) & 7;
          R[to] = sum(R[to] | 0, ~(op & 0xff), 1);
          break;
        }
        case AND:
          put(d, R[d] & R[m]);
          break;
        case EOR:
          put(d, R[d] ^ R[m]);
          break;
        case LSL: {
          const by = R[m] & 0xff;
          const value = R[d] | 0;
          if (by) core.C = by <= 32 && ((value >>> (32 - by)) & 1) === 1;
          put(d, by < 32 ? value << by : 0);
          break;
        }
        case LSR: {
          const by = R[m] & 0xff;
          const value = R[d] | 0;
          if (by) core.C = by <= 32 && ((value >>> (by - 1)) & 1) === 1;
          put(d, by < 32 ? (value >>> by) | 0 : 0);
          break;
        }
        case ASR: {
          const by = R[m] & 0xff;
          const value = R[d] | 0;
          if (by) core.C = ((value >> Math.min(by - 1, 31)) & 1) === 1;
          put(d, value >> Math.min(by, 31));
          break;
        }
        case TST: {
          const value = R[d] & R[m];
          core.N = value < 0;
          core.Z = value === 0;
          break;
        }
        case NEG:
          R[d] = sum(~R[m], 0, 1);
          break;
        case CMP:
          sum(R[d] | 0, ~R[m], 1);
          break;
        case CMN:
          sum(R[d] | 0, R[m] | 0, 0);
          break;
        case ORR:
          put(d, R[d] | R[m]);
          break;
        case MUL:
          put(d, Math.imul(R[d], R[m]));
          break;
        case BIC:
          put(d, R[d] & ~R[m]);
          break;
        case MVN:
          put(d, ~R[m]);
          break;
        case ADC:
          R[d] = sum(R[d] | 0, R[m] | 0, core.C ? 1 : 0);
          break;
        case SBC:
          R[d] = sum(R[d] | 0, ~R[m], core.C ? 1 : 0);
          break;
        case ADD_H: {
          const from = (op >>> 3) & 15;
          R[((op >>> 4) & 8) | d] += from === 15 ? pc + 4 : R[from];
          break;
        }
        case CMP_H:
          sum(R[((op >>> 4) & 8) | d] | 0, ~R[(op >>> 3) & 15], 1);
          break;
        case MOV_H: {
          const from = (op >>> 3) & 15;
          R[((op >>> 4) & 8) | d] = from === 15 ? pc + 4 : R[from];
          break;
        }
        case BX:
          core.BXWritePC(R[(op >>> 3) & 15]);
          cycles += 1;
          break;
        case BLX: {
          const to = R[(op >>> 3) & 15];
          R[14] = (pc + 2) | 1;
          R[15] = to & ~1;
          cycles += 1;
          break;
        }
        case LDR_L:
          R[(op >>> 8) & 7] = read32(((pc + 4) & ~3) + ((op & 0xff) << 2));
          break;
        case STR_R:
          write32((R[m] + R[(op >>> 6) & 7]) >>> 0, R[d]);
          break;
        case STRH_R:
          write16((R[m] + R[(op >>> 6) & 7]) >>> 0, R[d]);
          break;
        case STRB_R:
          write8((R[m] + R[(op >>> 6) & 7]) >>> 0, R[d]);
          break;
        case LDRSB_R:
          R[d] = (read8((R[m] + R[(op >>> 6) & 7]) >>> 0) << 24) >> 24;
          break;
        case LDR_R:
          R[d] = read32((R[m] + R[(op >>> 6) & 7]) >>> 0);
          break;
        case LDRH_R:
          R[d] = read16((R[m] + R[(op >>> 6) & 7]) >>> 0);
          break;
        case LDRB_R:
          R[d] = read8((R[m] + R[(op >>> 6) & 7]) >>> 0);
          break;
        case LDRSH_R:
          R[d] = (read16((R[m] + R[(op >>> 6) & 7]) >>> 0) << 16) >> 16;
          break;
        case STR_I:
          write32((R[m] + ((op >>> 4) & 0x7c)) >>> 0, R[d]);
          break;
        case LDR_I:
          R[d] = read32((R[m] + ((op >>> 4) & 0x7c)) >>> 0);
          break;
        case STRB_I:
          write8((R[m] + ((op >>> 6) & 31)) >>> 0, R[d]);
          break;
        case LDRB_I:
          R[d] = read8((R[m] + ((op >>> 6) & 31)) >>> 0);
          break;
        case STRH_I:
          write16((R[m] + ((op >>> 5) & 0x3e)) >>> 0, R[d]);
          break;
        case LDRH_I:
          R[d] = read16((R[m] + ((op >>> 5) & 0x3e)) >>> 0);
          break;
        case STR_S:
          write32(R[13] + ((op & 0xff) << 2), R[(op >>> 8) & 7]);
          break;
        case LDR_S:
          R[(op >>> 8) & 7] = read32(R[13] + ((op & 0xff) << 2));
          break;
        case ADR:
          R[(op >>> 8) & 7] = ((pc + 4) & ~3) + ((op & 0xff) << 2);
          break;
        case ADD_S:
          R[(op >>> 8) & 7] = R[13] + ((op & 0xff) << 2);
          break;
        case SP_UP:
          R[13] += (op & 0x7f) << 2;
          break;
        case SP_DOWN:
          R[13] -= (op & 0x7f) << 2;
          break;
        case SXTH:
          R[d] = (R[m] << 16) >> 16;
          break;
        case SXTB:
          R[d] = (R[m] << 24) >> 24;
          break;
        case UXTH:
          R[d] = R[m] & 0xffff;
          break;
        case UXTB:
          R[d] = R[m] & 0xff;
          break;
        case PUSH: {
          let at = R[13];
          if (op & 0x100) {
            at -= 4;
            write32(at, R[14]);
          }
          for (let i = 7; i >= 0; i--) {
            if (op & (1 << i)) {
              at -= 4;
              write32(at, R[i]);
            }
          }
          R[13] = at;
          break;
        }
        case POP: {
          let at = R[13];
          for (let i = 0; i < 8; i++) {
            if (op & (1 << i)) {
              R[i] = read32(at);
              at += 4;
            }
          }
          if (op & 0x100) {
            const to = read32(at);
            R[13] = at + 4;
            core.BXWritePC(to);
            cycles += 2;
          } else R[13] = at;
          break;
        }
        case STM: {
          const base = (op >>> 8) & 7;
          let at = R[base];
          for (let i = 0; i < 8; i++) {
            if (op & (1 << i)) {
              write32(at, R[i]);
              at += 4;
            }
          }
          R[base] = at;
          break;
        }
        case LDM: {
          const base = (op >>> 8) & 7;
          let at = R[base];
          for (let i = 0; i < 8; i++) {
            if (op & (1 << i)) {
              R[i] = read32(at);
              at += 4;
            }
          }
          if (!(op & (1 << base))) R[base] = at;
          break;
        }
        case B_IF:
          if (holds((op >>> 8) & 15)) {
            R[15] = pc + 4 + (((op & 0xff) << 24) >> 23);
            cycles += 1;
          }
          break;
        case B:
          R[15] = pc + 4 + (((op & 0x7ff) << 21) >> 20);
          cycles += 1;
          break;
        case BL: {
          const from = (pc + 2 - FLASH) >>> 0;
          const second = from < FLASH_BYTES ? flash16[from >>> 1] : ram16[((pc + 2 - RAM) >>> 0) >>> 1];
          if ((second & 0xd000) !== 0xd000) {
            R[15] = pc; // an instruction of 32 bits that is no BL
            now();
            cycles += core.executeInstruction() - 1;
            break;
          }
          const sign = (op >>> 10) & 1;
          const i1 = 1 - (((second >>> 13) & 1) ^ sign);
          const i2 = 1 - (((second >>> 11) & 1) ^ sign);
          const by =
            (sign ? 0xff000000 : 0) | (i1 << 23) | (i2 << 22) | ((op & 0x3ff) << 12) | ((second & 0x7ff) << 1);
          R[14] = (pc + 4) | 1;
          R[15] = pc + 4 + by;
          cycles += 2;
          break;
        }
      }
    }
    now();
    return limit - left;
  };
}
