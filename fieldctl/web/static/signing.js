// Coming in and going out: forms that ask once and say what came of it. They need no stream: this is how one gets one.
import { t } from "./words.js";

const ANSWER_WITHIN_MS = 30000; // a password is hashed one after the other, on a small board in seconds

async function ask(name, given) {
  try {
    const answer = await fetch(`/api/v1/${name}`, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Fieldctl": "1" },
      body: JSON.stringify(given),
      signal: AbortSignal.timeout(ANSWER_WITHIN_MS),
    });
    return { ok: answer.ok, data: await answer.json(), after: answer.headers.get("Retry-After") };
  } catch {
    return { ok: false, data: { code: "no-answer" } };
  }
}

function inWords(name, { data, after }) {
  if (data.code === "wrong-secret") return t(name === "sign-in" ? "sign.wrong_password" : "sign.wrong_code");
  if (data.code === "too-soon") return t("sign.too_soon", { seconds: after });
  if (data.code === "busy") return t("sign.busy");
  if (data.code === "no-answer") return t("sign.no_answer");
  return [data.detail ?? data.title, data.expected, data.remedy].filter(Boolean).join(" ");
}

for (const form of document.querySelectorAll("form[data-ask]")) {
  const said = form.querySelector(".said");
  const button = form.querySelector("button");
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const given = Object.fromEntries([...new FormData(form)].filter(([, value]) => value !== ""));
    button.disabled = true;
    said.textContent = t("sign.working");
    const answer = await ask(form.dataset.ask, given);
    if (answer.ok) {
      location.assign(form.dataset.to);
      return;
    }
    button.disabled = false;
    said.textContent = inWords(form.dataset.ask, answer);
  });
}
