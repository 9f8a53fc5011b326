// Tones, vibration, a screen that stays awake: where the browser has them, and only once somebody armed them.
let context = null;
let lock = null;

export const armed = () => context !== null && context.state === "running";

// Told whenever that may have changed: a call came in, the phone slept, the browser took the sound away.
let heard = () => {};
export const onSound = (told) => (heard = told);
document.addEventListener("visibilitychange", () => heard());

export async function arm() {
  if (!context) {
    context = new AudioContext();
    context.addEventListener("statechange", () => heard());
  }
  await context.resume();
  tone(660, 0.08);
}

export function tone(hertz, seconds) {
  if (!armed()) return;
  const now = context.currentTime;
  const wave = context.createOscillator();
  const loud = context.createGain();
  wave.frequency.value = hertz;
  loud.gain.setValueAtTime(0.0001, now);
  loud.gain.exponentialRampToValueAtTime(0.4, now + 0.01);
  loud.gain.exponentialRampToValueAtTime(0.0001, now + seconds);
  wave.connect(loud).connect(context.destination);
  wave.start(now);
  wave.stop(now + seconds + 0.05);
}

// A flash goes with every tone: wind and hoods are loud.
export function flash(element) {
  element.classList.remove("flash");
  void element.offsetWidth;
  element.classList.add("flash");
  navigator.vibrate?.([120, 60, 120]);
}

export async function stayAwake() {
  if (!("wakeLock" in navigator) || lock) return;
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => (lock = null));
  } catch {
    lock = null; // refused, as when the battery is low: the page works all the same
  }
}
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && wanted && stayAwake());
let wanted = false;
export const keepAwake = (value) => {
  wanted = value;
  if (value) stayAwake();
  else lock?.release();
};
