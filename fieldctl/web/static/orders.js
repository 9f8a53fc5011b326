// Asking the controller for something: every change goes through the one API, with an id of this phone's own.
import { isLive } from "./live.js";
import { t } from "./words.js";

const ANSWER_WITHIN_MS = 8000;
const WITHOUT_LIVE = new Set(["all-off", "exercise-stop", "walkin-stop"]); // whatever the screen knows, these go out

export const ownId = () =>
  Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");

// {ok, data} or {ok: false, problem: {title, detail, remedy}}; the same key again never does the same thing twice.
export async function order(verb, args = {}, key = ownId()) {
  if (!isLive() && !WITHOUT_LIVE.has(verb)) return { ok: false, problem: { detail: t("base.barred"), remedy: "" } };
  try {
    const answer = await fetch(`/api/v1/${verb}`, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Fieldctl": "1", "Idempotency-Key": key },
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

// What a refusal says, in full.
export const inWords = (problem) => [problem.detail ?? problem.title, problem.remedy].filter(Boolean).join(" ");
