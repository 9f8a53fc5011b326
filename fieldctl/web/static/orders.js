// Asking the controller for something: every change goes through the one API, with an id of this phone's own.
//
// An order says when it was pressed, so that what the air held back is not carried out long afterwards.
import { changes, isLive, pressedNow } from "./live.js";
import { t } from "./words.js";

const ANSWER_WITHIN_MS = 8000;
const AGAIN_AFTER_MS = 500;
const WITHOUT_LIVE = new Set(["all-off", "exercise-stop", "walkin-stop"]); // whatever the screen knows, these go out

export const ownId = () =>
  Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");

// {ok, data} or {ok: false, problem: {title, detail, remedy}}; the same key again never does the same thing twice.
export async function order(verb, args = {}, key = ownId(), pressed = pressedNow()) {
  if (!isLive() && !WITHOUT_LIVE.has(verb)) return { ok: false, problem: { detail: t("base.barred"), remedy: "", barred: true } };
  try {
    const answer = await fetch(`/api/v1/${verb}`, {
      method: "POST",
      headers: {
        "Content-Type": "application/json",
        "X-Fieldctl": "1",
        "Idempotency-Key": key,
        ...(pressed === null ? {} : { "X-Fieldctl-Pressed": pressed }),
      },
      body: JSON.stringify(args),
      signal: AbortSignal.timeout(ANSWER_WITHIN_MS),
      keepalive: true,
    });
    const data = await answer.json();
    return answer.ok ? { ok: true, data } : { ok: false, problem: data };
  } catch {
    return { ok: false, problem: { detail: t("base.no_answer"), remedy: "" } };
  }
}

// As `order`; where no answer comes, `unknown` says so and it is asked again when the page is live. It is still the same
// press of the same moment: what was carried out meanwhile is answered, what was not and is late by now is refused.
export async function orderUntilKnown(verb, args, key, unknown) {
  const pressed = pressedNow();
  for (;;) {
    const answer = await order(verb, args, key, pressed);
    if (answer.ok || answer.problem.status || answer.problem.barred) return answer;
    unknown(`${answer.problem.detail} ${t("base.asks_again")}`);
    await live();
  }
}

// The next beat at which this page is live, a little later.
async function live() {
  await new Promise((done) => setTimeout(done, AGAIN_AFTER_MS));
  while (!isLive()) await new Promise((done) => changes.addEventListener("beat", done, { once: true }));
}

// What a refusal says, in full.
export const inWords = (problem) => [problem.detail ?? problem.title, problem.remedy].filter(Boolean).join(" ");
