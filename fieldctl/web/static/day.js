// The day: what is chosen so far, what is still in the way with it, and the one press that opens or closes the field.
import { h, show } from "./dom.js";
import { changes, hostNow } from "./live.js";
import { inWords, order } from "./orders.js";
import { clock, t } from "./words.js";

const LOOKS_EVERY_MS = 2000; // plates that are touched meanwhile appear by themselves
const page = document.getElementById("day");
const form = document.getElementById("opening") ?? document.getElementById("closing");
const part = (name) => form.querySelector(`[data-part=${name}]`);
const signed = new Map(); // key -> what it says
let found = JSON.parse(page.dataset.found);
let asked = 0;

const value = (name) => form.querySelector(`[name=${name}]:checked`)?.value ?? "";
const typed = (name) => form.querySelector(`[name=${name}]`)?.value.trim() ?? "";
const both = (chosen, more) => (chosen && more ? `${chosen} – ${more}` : chosen);

// What the reader has chosen, as the verb takes it.
function choices() {
  const exceptions = [...signed.keys()];
  if (form.id === "opening") {
    const cm = typed("snow_cm");
    return {
      hazard: both(value("hazard"), typed("hazard_note")),
      snow_m: cm === "" || !Number.isFinite(Number(cm)) ? null : Number(cm) / 100,
      stray_sweep: both(value("stray_sweep"), typed("sweep_note")),
      exceptions,
    };
  }
  return {
    own_units_back: form.querySelector("[name=own_units_back]")?.checked ?? false,
    listening_walk: both(value("listening_walk"), typed("walk_note")),
    heard_sending: [...form.querySelectorAll("[name=heard_sending]:checked")].map((box) => box.value),
    signed: page.dataset.who,
    exceptions,
  };
}

async function look() {
  const number = ++asked;
  try {
    const answer = await fetch("/day/lines", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Fieldctl": "1" },
      body: JSON.stringify(choices()),
    });
    if (!answer.ok || number !== asked) return; // a later question is on its way
    found = await answer.json();
  } catch {
    return; // the page says by itself that it is not live
  }
  if (String(found.open) !== page.dataset.open) return location.reload(); // somebody else opened or closed it
  for (const key of [...signed.keys()]) {
    if (found.lines.some((line) => line.key === `exception:${key}`)) signed.delete(key); // it is in the way no more
  }
  paint();
}

function paint() {
  if (found.open) part("quiet").textContent = t("day.quiet", { n: found.quiet, of: found.targets });
  else {
    part("roll-call").textContent = t("day.heard", { n: found.heard, of: found.of });
    part("plates").textContent = `${t("day.touched", { n: found.touched.length, of: found.heard })} ${found.touched.join(", ")}`;
  }
  const lines = found.lines.filter((line) => !line.key.startsWith("exception:"));
  const mayOpen = part("submit") !== null;
  part("to-know").hidden = found.warnings.length === 0;
  part("to-know-n").textContent = t("day.to_know", { n: found.warnings.length });
  show(part("warnings"), found.warnings.map((line) => h("li", { class: "row" },
    h("p", {}, h("strong", {}, line.wrong)), h("p", { class: "more" }, line.remedy))));
  part("nothing").hidden = lines.length > 0;
  show(part("lines"), lines.map((line) => h("li", { class: "row", "data-key": line.key },
    h("p", {}, h("strong", {}, line.wrong)), h("p", { class: "more" }, line.remedy),
    line.may_sign && mayOpen ? h("button", { type: "button", class: "plain small more", "data-sign": line.key }, t("day.sign_one")) : null)));
  if (!mayOpen) return;
  const open = lines.filter((line) => line.may_sign);
  part("sign-all").hidden = open.length === 0;
  part("sign-all").textContent = t("day.sign_all", { n: open.length });
  show(part("signed"), signed.size ? [h("h3", {}, t("day.signed_for", { name: page.dataset.who })),
    h("ul", { class: "rows" }, [...signed].map(([key, wrong]) => h("li", { class: "row" }, h("p", {}, wrong),
      h("button", { type: "button", class: "plain small more", "data-unsign": key }, t("base.undo")))))] : null);
}

function sign(keys) {
  for (const key of keys) {
    const line = found.lines.find((one) => one.key === key);
    if (line?.may_sign) signed.set(key, line.wrong);
  }
  part("said").textContent = "";
  look();
}

form.addEventListener("submit", (event) => event.preventDefault());
form.addEventListener("click", async ({ target }) => {
  const button = target.closest("button");
  if (!button) return;
  const { sign: one, unsign, stepCm, touch, unitIn } = button.dataset;
  if (one) sign([one]);
  else if (unsign) {
    signed.delete(unsign);
    look();
  } else if (button.dataset.part === "sign-all") sign(found.lines.map((line) => line.key));
  else if (stepCm) {
    const field = form.querySelector("[name=snow_cm]");
    field.value = Math.min(3000, Math.max(0, Number(field.value || 0) + Number(stepCm)));
    look();
  } else if (touch !== undefined) await tell(order("day-touch"), look);
  else if (unitIn) await tell(order("manual-in", { unit: unitIn, seen_off: true }), () => location.reload());
});
form.addEventListener("input", () => {
  if (part("said")) part("said").textContent = "";
  const heard = form.querySelector("[data-heard]");
  if (heard) (part("swept") ?? part("walked")).hidden = !heard.checked;
  if (heard && !heard.checked) form.querySelectorAll("[name=heard_sending]").forEach((box) => { box.checked = false; });
  look();
});

// What an order led to, in the reader's sight: refused, it stays until the next one.
async function tell(ordered, done, place = part("said")) {
  if (place) place.textContent = t("base.sent");
  const answer = await ordered;
  if (place) place.textContent = answer.ok ? "" : inWords(answer.problem);
  if (answer.ok) done(answer.data);
  return answer;
}

part("submit")?.addEventListener("held", async () => {
  const args = choices();
  if (args.snow_m === null) delete args.snow_m;
  const place = part("said");
  place.textContent = t("base.sent");
  const answer = await order(form.dataset.verb, args);
  if (answer.ok) return location.assign("/day");
  await look();
  const left = found.lines.length; // told line by line above, with every choice kept
  place.textContent = left ? t("day.refused", { n: left }) : inWords(answer.problem);
  (left ? part("lines") : place).scrollIntoView({ block: "start" });
});

page.addEventListener("click", async ({ target }) => {
  const exercise = target.closest("[data-stop]")?.dataset.stop;
  if (exercise) await tell(order("exercise-stop", { exercise }), () => location.reload());
});

const out = document.getElementById("unit-out");
out?.addEventListener("submit", (event) => {
  event.preventDefault();
  const said = new FormData(out);
  const place = [said.get("stake"), said.get("place")].filter(Boolean).join(", ");
  tell(order("manual-out", { unit: said.get("unit"), zone: said.get("zone"), place }), () => location.reload(), out.querySelector(".said"));
});

const renewed = document.getElementById("renewed");
renewed?.addEventListener("click", ({ target }) => {
  const how = target.closest("[data-renewed]")?.dataset.renewed;
  if (!how) return;
  const zone = new FormData(renewed).get("zone");
  tell(order("day-renewed", { how, ...(zone ? { zone } : {}) }), () => location.reload(), renewed.querySelector(".said"));
});

changes.addEventListener("beat", () => {
  const listens = part("listens");
  if (!listens) return;
  const left = found.listens_until_us === null || hostNow() === null ? 0 : (found.listens_until_us - hostNow()) / 1e6;
  listens.textContent = left > 0 ? `${t("day.listens", { n: found.armed })} ${clock(left)}` : t("day.listens_not");
});
setInterval(() => document.visibilityState === "visible" && look(), LOOKS_EVERY_MS);
