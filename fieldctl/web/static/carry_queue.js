// What was ticked on this phone and the field has not taken yet: kept here over a reload, sent in order, each once.
//
// An entry keeps its own id and its moment from the press on, so that sending it twice is one press. Ids that the field
// gave to earlier presses of this phone (`of`, `knew_keys`) are put in as their answers come.
import { ownId } from "./orders.js";

const KEPT = "fieldctl-carry";
const ANSWER_WITHIN_MS = 8000;

export const changes = new EventTarget(); // "queue": something was put in, taken out, sent or refused
export let lasts = true; // whether this phone keeps it over a reload
let memory = []; // where it does not

export function entries() {
  try {
    return JSON.parse(localStorage.getItem(KEPT) ?? "[]");
  } catch {
    return memory;
  }
}

function keep(kept) {
  memory = kept;
  try {
    localStorage.setItem(KEPT, JSON.stringify(kept));
    lasts = true;
  } catch {
    lasts = false; // a private window, or a full phone: said on the page
  }
  changes.dispatchEvent(new Event("queue"));
}

const change = (key, made) => keep(entries().map((entry) => (entry.key === key ? { ...entry, ...made } : entry)));

// Put a press in; it is sent when `flush` is called and the field answers.
export function put(entry) {
  const key = ownId();
  keep([...entries(), { key, ...entry }]);
  return key;
}

// Take a press out that was never sent; false for one that may have arrived.
export function drop(key) {
  const entry = entries().find((one) => one.key === key);
  if (!entry || (entry.tried && !entry.refused)) return false;
  keep(entries().filter((one) => one.key !== key));
  return true;
}

let sending = false;

// Send what this person pressed, the oldest first; stops at the first that gets no answer. `taken(data, entry)` for
// each that does. What somebody else pressed on this phone waits for him: it is his word.
export async function flush(who, taken) {
  if (sending) return "busy";
  sending = true;
  try {
    for (;;) {
      const entry = entries().find((one) => !one.refused && one.who === who);
      if (!entry) return "sent";
      change(entry.key, { tried: true });
      const answer = await send(entry);
      if (answer === null) return "no answer";
      if (answer.status === 401 || answer.status === 403) return "sign in";
      if (answer.status === 503) return "no answer";
      if (answer.ok) {
        settle(entry.key, answer.data.tick);
        taken(answer.data, entry);
      } else change(entry.key, { refused: answer.data });
    }
  } finally {
    sending = false;
    changes.dispatchEvent(new Event("queue"));
  }
}

// A press was taken: what came after it on this phone knew of it.
function settle(key, tick) {
  const left = entries().filter((one) => one.key !== key);
  keep(left.map((one) => {
    const args = { ...one.args };
    if (one.of === key && tick) args.tick = tick;
    if (one.knew_keys?.includes(key) && tick) args.knew = [...args.knew, tick];
    return { ...one, args };
  }));
}

async function send(entry) {
  try {
    const answer = await fetch(`/api/v1/${entry.verb}`, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Fieldctl": "1", "Idempotency-Key": entry.key },
      body: JSON.stringify(entry.args),
      signal: AbortSignal.timeout(ANSWER_WITHIN_MS),
    });
    return { ok: answer.ok, status: answer.status, data: await answer.json() };
  } catch {
    return null;
  }
}

window.addEventListener("storage", (event) => event.key === KEPT && changes.dispatchEvent(new Event("queue")));
