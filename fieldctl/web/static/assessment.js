// An assessment from a phone: what was seen, the verdict, a signature by a long press; each asks once, then shows the sheet anew.
import "./base.js";
import "./hold.js";
import { inWords, order } from "./orders.js";
import { t } from "./words.js";

let busy = false;

const say = (text) => { document.getElementById("said").textContent = text; };

// The sheet and the presses under it as they are now; whatever else came back (a sign-in, a refusal) is shown as a page.
async function again(focused, said = t("base.taken")) {
  try {
    const answer = await fetch(location.href, { cache: "no-store" });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = ["sheet", "assess"].map((id) => page.getElementById(id));
    if (!fresh.every(Boolean)) return location.reload();
    for (const part of fresh) document.getElementById(part.id).replaceWith(part);
    document.getElementById(focused)?.focus({ preventScroll: true });
    say(said);
  } catch {
    location.reload();
  }
}

const lookUp = () => document.getElementById("said").scrollIntoView({ block: "center" });

// Nobody signs a sheet that they have not seen: was it decided anew meanwhile, it is shown instead.
async function asSeen({ exercise, candidate, digest, otherwise }) {
  const answer = await order("assessment-show", { exercise, candidate });
  if (!answer.ok || answer.data.digest === digest) return true; // a refusal is said by what follows
  await again(null, otherwise);
  lookUp();
  return false;
}

async function ask(verb, args, focused) {
  if (busy) return;
  busy = true;
  say(t("base.sent"));
  const shown = document.getElementById("assess").dataset;
  if (verb !== "assessment-sign" || (await asSeen(shown))) {
    const answer = await order(verb, { exercise: shown.exercise, candidate: shown.candidate, ...args });
    if (answer.ok) await again(focused);
    else {
      say(inWords(answer.problem));
      lookUp();
    }
  }
  busy = false;
}

const presses = {
  tick: ({ id, dataset: { item, value } }) => ask("assessment-tick", { item, value }, id),
  decide: ({ id, dataset: { verdict } }) => {
    const given = new FormData(document.getElementById("decide"));
    ask("assessment-decide", { verdict, why: [given.get("reason"), given.get("own").trim()].filter(Boolean).join(": ") }, id);
  },
  sign: ({ id, dataset: { role } }) => ask("assessment-sign", { role }, id),
};
for (const event of ["click", "held"]) {
  document.addEventListener(event, ({ target }) => {
    const pressed = target.closest("[data-do]");
    if (!pressed || (pressed.localName === "fc-hold") !== (event === "held")) return;
    if (pressed.getAttribute("aria-pressed") !== "true") presses[pressed.dataset.do](pressed);
  });
}

// A key that ends a line in the reason's field decides nothing: a verdict is a press.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!["decide", "by-hand", "candidates"].includes(form.id)) return;
  event.preventDefault();
  if (form.id === "by-hand") ask("assessment-tick", { ...Object.fromEntries(new FormData(form)), by_hand: true }, "by-hand");
  if (form.id === "candidates") list(form);
});

// Who is to be assessed by a drill: the whole list, in its order.
async function list(form) {
  const said = form.querySelector(".said");
  said.textContent = t("base.sent");
  const candidates = form.elements.names.value.split(",").map((one) => one.trim()).filter(Boolean);
  const answer = await order("assessment-candidates", { drill: form.dataset.drill, candidates });
  said.textContent = answer.ok ? `${form.dataset.kept} ${answer.data.candidates.join(", ")}` : inWords(answer.problem);
}
