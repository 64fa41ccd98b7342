// An RP2040 with a MicroPython image on it, at a pseudo-terminal: node chip.mjs MODULES IMAGE ROM FLASH OPTIONS PTY
//
// MODULES is the folder that has npm's rp2040js, IMAGE a .uf2 or .bin, ROM the boot ROM as JSON words, FLASH the file
// that keeps the chip's flash, PTY the descriptor of the pseudo-terminal's controlling end, which must not block. Orders
// come as JSON lines on standard input, what happens goes as JSON lines to standard output.
//
// From rp2040js: processor, timers, DMA, USB device, pads, ADC. Done here, since it does not:
//  * PIO in true time (pio.mjs), and a converter bit by bit at two of its pins (hx711.mjs);
//  * the ROM's flash functions: carried out at once, holding the processor up, interrupts off, for as long as OPTIONS
//    say, while PIO, DMA and the host go on (W25Q16JV data sheet: an erase of 4 KiB takes 45 ms, 400 at most, a page of
//    256 bytes 0.4 ms, 3 at most);
//  * the flash cache: 16 KiB, two ways, lines of 8 bytes (RP2040 data sheet, 2.6.3), a miss as long as reading a line
//    by four wires at half the system's clock takes: 2 + 6 + 4 + 16 clocks of the flash (W25Q16JV, "Fast Read Quad
//    I/O" in continuous mode, and the select), 56 of the system;
//  * reset by the watchdog and by a program, with the register REASON and the scratch registers kept;
//  * a host: whether anyone has the port open (DTR), when it takes what the chip sends, 64 bytes every 60 us at most.
// Not shown: the second core, a radio, the time a DMA transfer takes, a port that goes away at a reset, RP2350.
//
// Time runs no faster than the host's clock.
import fs from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import { Hx711 } from './hx711.mjs';
import { Pio } from './pio.mjs';
import { quick } from './processor.mjs';

const [, , modules, image, romFile, flashFile, optionsText, ptyText] = process.argv;
const { RP2040, USBCDC } = createRequire(path.join(modules, 'x.js'))('rp2040js');
const options = {
  erase_ms: 45,
  page_us: 400,
  rate: 92.3,
  miss: 56,
  data_pin: 2,
  clock_pin: 3,
  high_pins: [22],
  speed: 1,
  ...JSON.parse(optionsText),
};
const FLASH = 0x10000000;
const FLASH_BYTES = 2 << 20;
const PTY = Number(ptyText);
const PACKET_NANOS = 60e3;
const HOST_NANOS = 0.25e6;
const PIO_NANOS = 20e3;
const WATCHDOG = 0x40058;
const TEMPERATURE = 876; // of the ADC: 27 degrees (RP2040 data sheet, 4.9.5)

const tell = (event) =>
  process.stdout.write(`${JSON.stringify({ ...event, ms: Math.round((past + clock.nanos) / 1e6) })}\n`);

function blocks(file) {
  const data = fs.readFileSync(file);
  if (data.readUInt32LE(0) !== 0x0a324655) return [[0, data]];
  const found = [];
  for (let at = 0; at + 512 <= data.length; at += 512) {
    const to = data.readUInt32LE(at + 12);
    if (to >= FLASH && to < FLASH + FLASH_BYTES) {
      found.push([to - FLASH, data.subarray(at + 32, at + 32 + data.readUInt32LE(at + 16))]);
    }
  }
  return found;
}

const rom = new Uint32Array(JSON.parse(fs.readFileSync(romFile)));
const flash = new Uint8Array(FLASH_BYTES).fill(0xff);
if (fs.existsSync(flashFile)) flash.set(fs.readFileSync(flashFile));
for (const [at, data] of blocks(image)) flash.set(data, at);

// Codes of the ROM's functions and where they begin (2.8.3).
const romView = new DataView(rom.buffer);
const romFunctions = new Map();
for (let at = romView.getUint16(0x14, true); romView.getUint16(at, true); at += 4) {
  romFunctions.set(
    String.fromCharCode(romView.getUint8(at), romView.getUint8(at + 1)),
    romView.getUint16(at + 2, true) & ~1,
  );
}

let past = 0; // nanoseconds before the latest start
let mcu;
let clock;
let core;
let cdc;
let usb;
let pios;
let hooks;
let burst;
let nextPio;
let resetBy; // REASON of a reset that is due
let executed = 0;
let asleep = 0; // nanoseconds in which the processor waited
const converter = new Hx711((level) => mcu?.gpio[options.data_pin].setInputValue(level), options.rate);
converter.now = 0;

// --- start and reset: a new chip each time, on the same flash
function start(reason, scratch) {
  if (clock) {
    past += clock.nanos;
    converter.next -= clock.nanos;
    converter.rose -= clock.nanos;
    converter.now = 0;
    converter.made = [];
  }
  mcu = new RP2040();
  clock = mcu.clock;
  core = mcu.core;
  mcu.logger = { debug() {}, info() {}, warn() {}, error() {} };
  mcu.loadBootrom(rom);
  mcu.flash.set(flash);
  mcu.adc.channelValues[4] = TEMPERATURE;
  pios = [0, 1].map((index) => {
    const pio = new Pio(mcu, index, bring);
    mcu.pio[index] = pio;
    mcu.peripherals[0x50200 + 0x100 * index] = pio;
    return pio;
  });
  nextPio = 0;
  const abort = mcu.dma.readUint32.bind(mcu.dma);
  mcu.dma.readUint32 = (offset) => (offset === 0x444 ? 0 : abort(offset)); // CHAN_ABORT: done at once
  for (const pin of options.high_pins) mcu.gpio[pin].setInputValue(true);
  mcu.gpio[options.data_pin].setInputValue(converter.out);
  mcu.gpio[options.clock_pin].addListener((state) => {
    converter.edge((state & 1) === 1, Math.max(converter.now, pios[0].now, pios[1].now));
  });
  if (converter.clock) converter.edge(false, 0);
  const watchdog = mcu.peripherals[WATCHDOG];
  watchdog.reason = reason;
  if (scratch) watchdog.scratchData.set(scratch);
  watchdog.onWatchdogTrigger = () => {
    resetBy = watchdog.reason;
  };
  hooks = new Map();
  const hook = (code, work) => hooks.set(romFunctions.get(code), work);
  hook('RE', () => {
    const [at, count] = core.registers;
    mcu.flash.fill(0xff, at, at + count);
    flash.fill(0xff, at, at + count);
    pass((options.erase_ms * 1e6 * count) / 4096);
  });
  hook('RP', () => {
    const [at, from, count] = core.registers;
    for (let i = 0; i < count; i++) mcu.flash[at + i] &= mcu.readUint8(from + i);
    flash.set(mcu.flash.subarray(at, at + count), at);
    pass((options.page_us * 1e3 * count) / 256);
  });
  for (const code of ['IF', 'EX', 'CX']) hook(code, () => {});
  hook('FC', emptyCache);
  hooks.delete(undefined);
  tags = new Int32Array(2048).fill(-1);
  older = new Uint8Array(1024);
  burst = quick(
    mcu,
    hooks,
    (cycles) => {
      clock.tick(((cycles + stall) * 1e9) / mcu.clkSys);
      stall = 0;
    },
    look,
  );
  attach();
  core.PC = FLASH;
}

function restart() {
  const reason = resetBy;
  resetBy = undefined;
  const { scratchData } = mcu.peripherals[WATCHDOG];
  tell({ event: 'reset', reason });
  start(reason, scratchData.slice());
}

// --- the flash cache
let stall = 0; // cycles that the processor has waited for flash
let tags;
let older;

function look(line) {
  const set = line & 1023;
  if (tags[2 * set] === line) older[set] = 1;
  else if (tags[2 * set + 1] === line) older[set] = 0;
  else {
    tags[2 * set + older[set]] = line;
    older[set] ^= 1;
    stall += options.miss;
  }
}

function emptyCache() {
  tags.fill(-1);
}

// --- time
function bring() {
  bringTo(clock.nanos);
}

// Converter and state machines up to a moment, whichever comes first.
function bringTo(until) {
  for (;;) {
    const event = Math.min(converter.next, converter.sleeps);
    const end = Math.min(until, event);
    for (const pio of pios) pio.run(end);
    if (converter.now < end) converter.now = end;
    // The machines may have moved the clock's edges, and so the moment at which it sleeps.
    if (converter.sleeps <= end) converter.sleep();
    else if (converter.next <= end) converter.convert();
    else if (end >= until) break;
  }
}

function pass(nanos) {
  const end = clock.nanos + nanos;
  while (clock.nanos < end) {
    clock.tick(Math.min(end - clock.nanos, 0.5e6)); // a queue of four words bears more
    bring();
    if (clock.nanos >= nextHost) host();
  }
}

// --- the host
let open = false;
let takes = true;
let nextHost = 0;
let asked = 0; // bytes that the chip would take
let fromHost = Buffer.alloc(0);
let toHost = Buffer.alloc(0);
let held = []; // buffers that the chip is told of when the host has taken them
const piece = Buffer.alloc(4096);

function attach() {
  nextHost = 0;
  asked = 0;
  fromHost = Buffer.alloc(0);
  toHost = Buffer.alloc(0);
  held = [];
  usb = mcu.usbCtrl;
  cdc = new USBCDC(usb);
  const { onEndpointRead } = usb;
  usb.onEndpointRead = (endpoint, size) => {
    if (endpoint === cdc.outEndpoint) asked = size;
    else onEndpointRead(endpoint, size);
  };
  const ready = usb.indicateBufferReady.bind(usb);
  usb.indicateBufferReady = (endpoint, out) => {
    if (!out && endpoint === cdc.inEndpoint) held.push(() => ready(endpoint, out));
    else ready(endpoint, out);
  };
  const taken = clock.createAlarm(host);
  cdc.onSerialData = (data) => {
    toHost = Buffer.concat([toHost, data]);
    taken.schedule(PACKET_NANOS);
  };
  const set = cdc.cdcSetControlLineState.bind(cdc);
  cdc.cdcSetControlLineState = () => set(open ? 3 : 0);
}

function host() {
  nextHost = clock.nanos + HOST_NANOS;
  const was = open;
  try {
    const count = fs.readSync(PTY, piece);
    open = true;
    if (count) fromHost = Buffer.concat([fromHost, piece.subarray(0, count)]);
  } catch (error) {
    open = error.code === 'EAGAIN'; // EIO: nobody has the port open
  }
  if (open !== was && cdc.initialized) cdc.cdcSetControlLineState();
  if (asked && fromHost.length && open) {
    const size = Math.min(asked, fromHost.length);
    asked = 0;
    usb.endpointReadDone(cdc.outEndpoint, Uint8Array.from(fromHost.subarray(0, size)));
    fromHost = fromHost.subarray(size);
  }
  if (takes && open) {
    try {
      if (toHost.length) toHost = toHost.subarray(fs.writeSync(PTY, toHost));
    } catch (error) {
      if (error.code !== 'EAGAIN' && error.code !== 'EIO') throw error;
    }
    if (!toHost.length) {
      const told = held;
      held = [];
      for (const one of told) one();
    }
  }
}

// --- orders
let line = '';
process.stdin.on('data', (data) => {
  line += data;
  for (let at = line.indexOf('\n'); at >= 0; at = line.indexOf('\n')) {
    const order = JSON.parse(line.slice(0, at));
    line = line.slice(at + 1);
    if ('takes' in order) takes = order.takes;
    if ('load' in order) converter.load = order.load;
    if ('rise' in order) converter.rise = order.rise;
    if ('stuck' in order) converter.stuck = order.stuck;
    Object.assign(options, order.options ?? {});
    if (order.power) start(0);
    if (order.ask) tell({ event: 'answer', number: order.number, ...answers[order.ask]() });
  }
});
process.stdin.on('end', () => process.exit(0));

const answers = {
  time: () => ({ asleep_ms: asleep / 1e6, executed, real_ms: performance.now() - origin }),
  converter: () => ({
    made: converter.made,
    lost: converter.lost,
    high_us: [converter.shortest / 1e3, converter.longest / 1e3],
    readings: converter.readings,
  }),
  flash: () => {
    fs.writeFileSync(flashFile, flash);
    return {};
  },
};

// --- run
function turn() {
  const began = performance.now();
  while (performance.now() - began < 20) {
    for (let i = 0; i < 500; i++) {
      if (resetBy !== undefined) {
        restart();
        break;
      }
      if (core.waiting) {
        const before = clock.nanos;
        const next = clock.nanosToNextAlarm;
        pass(Math.max(100, Math.min(next > 0 ? next : HOST_NANOS, HOST_NANOS)));
        asleep += clock.nanos - before;
        if ((past + clock.nanos) / 1e6 > options.speed * (performance.now() - origin)) {
          setTimeout(turn, 1); // not faster than the host's clock
          return;
        }
        continue;
      }
      executed += burst(32); // finer than anything that looks at the clock
      if (clock.nanos >= nextPio) {
        nextPio = clock.nanos + PIO_NANOS;
        bring();
        if (clock.nanos >= nextHost) host();
      }
    }
  }
  setImmediate(turn);
}

const origin = performance.now();
start(0);
tell({ event: 'power' });
turn();
