// What the controller says, row by row, as it changes: one stream for the whole browser.
//
// The tab that dialled last has the stream and tells the others by a channel; when it goes quiet or away, another one
// dials. A stream that says nothing for 5 s is not live: values are hatched, orders wait (stop and all off excepted).
const STALE_AFTER_MS = 5000; // the server beats each second: five are missed
const DIAL_AFTER_MS = 700;
const DRIFT = 2e-4; // how far the crystals of a phone and of the host part at most
const CHANNEL_US = 100_000; // what a tab says to another is there by then
const LISTENS_FOR_MS = 2500; // to another tab of this browser before it dials itself

const audience = document.body.dataset.audience;
const channel = new BroadcastChannel(`fieldctl-live-${audience}`);
const browser = ownName();

export const rows = new Map();
export const ages = new Map();
export const changes = new EventTarget(); // "rows": some changed; "live": live or not; "beat": a second went by
export let rights = document.body.dataset.rights.split(" ");

let source = null;
let boot = ""; // the life of the host in which its clock counts
let least_us = null; // host time minus this page's clock is at least this, since nothing is heard before it was sent,
let wide_us = 0; // and at most so much more, since no snapshot was made before it was asked for
let tied_at = 0;
let dialled_at = 0;
let heard_at = null; // by this page's clock, in ms
let heard_wall = null;
let ages_at = 0;
let live = false;
let dialling = null;

function ownName() {
  const kept = localStorage.getItem("fieldctl-browser");
  if (kept) return kept;
  const made = Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
  localStorage.setItem("fieldctl-browser", made);
  return made;
}

export const isLive = () => live;
export const lastHeard = () => heard_wall;
export const hostNow = () => (least_us === null ? null : performance.now() * 1000 + least_us);
export const exercises = () => [...rows].filter(([key]) => key.startsWith("exercise:")).map(([, row]) => row);
export const targets = () => [...rows].filter(([key]) => key.startsWith("target:")).map(([, row]) => row);

// Seconds since a target said anything, as old as they are by now; null where it never did.
export function age(target) {
  const seconds = ages.get(target);
  return seconds === null || seconds === undefined ? null : seconds + (performance.now() - ages_at) / 1000;
}

function tell(what) {
  changes.dispatchEvent(new Event(what));
}

function setLive(value) {
  if (value === live) return;
  live = value;
  document.documentElement.classList.toggle("stale", !live);
  tell("live");
}

// When a thumb that is there now pressed, as orders say it: the host's clock, ± how well this page knows it.
export function pressedNow() {
  if (least_us === null) return null;
  const wide = wide_us + DRIFT * 1000 * (performance.now() - tied_at);
  return `${Math.max(0, Math.round(hostNow() + wide / 2))};${Math.ceil(wide / 2)};${boot}`;
}

// What is heard ties this page's clock to the host's. Of a beat that the air held back nothing is learned.
function tie(data, most_us) {
  const drifted_us = DRIFT * 1000 * (heard_at - tied_at);
  const heard_us = data.host_us - heard_at * 1000;
  if (most_us !== undefined) [boot, least_us, wide_us] = [data.boot, heard_us, most_us];
  else {
    const most = least_us + wide_us + drifted_us;
    least_us = Math.max(least_us - drifted_us, heard_us);
    if (least_us < most) wide_us = most - least_us; // else this page's clock stood still while the phone slept
  }
  tied_at = heard_at;
}

function take(name, data) {
  heard_at = performance.now();
  heard_wall = new Date();
  if (data.wide_us !== undefined) tie(data, data.wide_us + CHANNEL_US);
  else tie(data, name === "snapshot" ? (heard_at - dialled_at) * 1000 : undefined);
  if (name === "snapshot") rows.clear();
  for (const [key, row] of Object.entries(data.rows ?? {})) rows.set(key, row);
  for (const key of data.gone ?? []) rows.delete(key);
  if (data.ages) {
    ages.clear();
    for (const [target, seconds] of Object.entries(data.ages)) ages.set(target, seconds);
    ages_at = heard_at;
  }
  if (data.rights) rights = data.rights;
  setLive(true);
  if (name !== "beat") tell("rows");
  tell("beat");
}

function dial() {
  clearTimeout(dialling);
  source?.close();
  const query = new URLSearchParams({ audience, browser: `${browser}-${audience}` });
  dialled_at = performance.now();
  source = new EventSource(`/api/v1/live?${query}`);
  for (const name of ["snapshot", "patch", "beat"]) {
    source.addEventListener(name, (event) => {
      const data = JSON.parse(event.data);
      take(name, data);
      const known = { ...data, host_us: hostNow(), wide_us, boot };
      channel.postMessage({ name, data: name === "patch" ? { ...known, all: Object.fromEntries(rows) } : known });
    });
  }
  source.addEventListener("elsewhere", () => hangUp()); // another tab of this browser has it now
  source.addEventListener("ended", () => location.reload()); // the right to see this was taken
  source.addEventListener("error", () => {
    hangUp();
    later(DIAL_AFTER_MS);
  });
}

function hangUp() {
  source?.close();
  source = null;
}

function later(ms) {
  clearTimeout(dialling);
  dialling = setTimeout(() => {
    if (document.visibilityState === "visible") dial();
  }, ms + Math.random() * 300);
}

channel.addEventListener("message", ({ data: { name, data, left } }) => {
  if (left) return source ? undefined : later(0);
  if (source) return undefined; // two dialled at once: the server ends the older one
  const known = name === "patch" ? { ...data, rows: data.all } : data;
  if (name === "beat" && rows.size === 0) return undefined; // begun in the middle: the next patch brings all rows
  take(name, known);
  return later(LISTENS_FOR_MS); // dials when the other tab is heard no more
});

document.addEventListener("visibilitychange", () => {
  if (document.visibilityState !== "visible") return;
  if (performance.now() - (heard_at ?? -Infinity) > 1500) dial(); // a phone that wakes: what it knew is old
});
window.addEventListener("online", () => dial());
window.addEventListener("pagehide", () => {
  if (!source) return;
  hangUp();
  channel.postMessage({ left: true });
});
window.addEventListener("pageshow", (event) => event.persisted && dial());

setInterval(() => {
  if (heard_at === null || performance.now() - heard_at > STALE_AFTER_MS) {
    setLive(false);
    if (!source && document.visibilityState === "visible") dial();
  }
  tell("beat");
}, 500);

dial();
