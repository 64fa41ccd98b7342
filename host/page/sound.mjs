// Tones that stand out from engines: pulses that alternate between 1 and 2 kHz (within 500 to 2500 Hz of ISO 7731, from
// memory). A phone plays nothing before a tap: `start` must be called in one, before anything is awaited.

let context = null;

export function start() {
  const Context = globalThis.AudioContext ?? /** @type {any} */ (globalThis).webkitAudioContext;
  if (!Context) return;
  context ??= new Context();
  context.resume();
  // The mute switch of an iPhone silences a page that only beeps, unless it says that it plays (Audio Session API).
  const session = /** @type {any} */ (navigator).audioSession;
  if (session) session.type = "playback";
}

/** Are tones to be heard? They are not before a tap, or where the browser has none. */
export const ready = () => context?.state === "running";

function pulses(tones) {
  if (!context) return;
  const gain = new GainNode(context, { gain: 0 });
  const tone = new OscillatorNode(context, { type: "square" });
  tone.connect(gain).connect(context.destination);
  let at = context.currentTime;
  tone.start(at);
  for (const [hertz, seconds] of tones) {
    tone.frequency.setValueAtTime(hertz || 1000, at);
    gain.gain.setValueAtTime(hertz ? 0.8 : 0, at);
    at += seconds;
  }
  gain.gain.setValueAtTime(0, at);
  tone.stop(at);
}

const shake = (pattern) => navigator.vibrate?.(pattern);

export function tellBreak() {
  pulses([[1000, 0.6]]);
  shake([600]);
}

export function tellStopLoad() {
  pulses(Array.from({ length: 12 }, (_, i) => [i % 2 ? 2000 : 1000, 0.12]));
  shake([200, 100, 200, 100, 200, 100, 200]);
}
