// When a thumb pressed, by the host's clock, as far as this phone can tell without the field.
//
// Each beat of the stream ties the phone's two clocks to the host's. The one that counts on through sleep may be set
// meanwhile, the other one may stand still: where they part, their difference is in the ±.
import { changes, hostNow, isLive } from "./live.js";

const THUMB_S = 2; // a press, and the way of a beat
let tied = null; // { wall, steady, host_us }

changes.addEventListener("beat", () => {
  if (isLive() && hostNow() !== null) tied = { wall: Date.now(), steady: performance.now(), host_us: hostNow() };
});

const twoDigits = (n) => String(n).padStart(2, "0");

function today() {
  const now = new Date();
  return `${now.getFullYear()}-${twoDigits(now.getMonth() + 1)}-${twoDigits(now.getDate())}`;
}

// The arguments of a verb that tell when: without a beat since this page was opened nobody can, and the day is left.
export function moment(boot) {
  if (tied === null) return { at_us: 0, boot: "", plus_minus_s: 0, day: today() };
  const wall_ms = Date.now() - tied.wall;
  const apart_s = Math.abs(wall_ms - (performance.now() - tied.steady)) / 1000;
  const at_us = Math.max(0, Math.round(tied.host_us + wall_ms * 1000));
  return { at_us, boot, plus_minus_s: Math.min(86400, THUMB_S + Math.round(apart_s * 10) / 10), day: today() };
}
