// A drill's page: who searches, the preview, and the press that starts it.
import { h } from "./dom.js";
import { changes, rows } from "./live.js";
import { inWords, orderUntilKnown, ownId } from "./orders.js";
import { keepQueue } from "./queue.js";
import { clock, t } from "./words.js";

const page = document.getElementById("drill");
const start = document.getElementById("start");
const said = document.getElementById("said");
const { drill } = page.dataset;
const seed = Number(page.dataset.seed);
const same = JSON.parse(page.dataset.same);
let key = ownId(); // pressed twice it is one exercise; after a refusal it is a new press

function names() {
  const chosen = [...page.querySelectorAll("#searchers input[type=checkbox]:checked")].map((box) => box.value);
  const typed = (document.getElementById("new-searcher")?.value ?? "").split(",").map((name) => name.trim());
  return [...chosen, ...typed.filter(Boolean)];
}

// The groups that search one after the other: all at once, or so many at a time.
function groups() {
  const all = names();
  const size = Number(page.querySelector("#at-once input:checked")?.value) || all.length || 1;
  return Array.from({ length: Math.ceil(all.length / size) }, (_, n) => all.slice(n * size, (n + 1) * size));
}

// Who searches is kept while the page is looked at anew.
const KEPT = `fieldctl-searchers-${drill}`;
function showChosen() {
  document.getElementById("chosen").textContent = groups().map((group) => group.join(", ")).join(" | ");
}
page.querySelector("#searchers")?.addEventListener("input", () => {
  showChosen();
  sessionStorage.setItem(KEPT, names().join(","));
});
const kept = sessionStorage.getItem(KEPT);
if (kept && document.getElementById("new-searcher")) {
  document.getElementById("new-searcher").value = kept;
  showChosen();
}

// What stands in the way is looked at anew when the field was opened or closed, or all off ordered or released.
changes.addEventListener("rows", () => {
  const field = rows.get("field");
  if (!field || start?.classList.contains("holding")) return;
  if (`${field.open} ${field.all_off.in_force}` !== page.dataset.field) location.reload();
});

// What came up since the page was made is read before one goes on; the exercise has been started.
const hindrances = document.getElementById("hindrances");
function warned(warnings, to) {
  const lines = warnings.map((w) => h("div", { class: "note", "data-key": w.key },
    h("p", {}, h("strong", {}, t("drill.warns")), ` ${w.wrong}`), h("p", {}, w.remedy)));
  hindrances.prepend(...lines, h("p", {}, h("a", { class: "big", href: to }, t("drill.to_exercise"))));
  hindrances.scrollIntoView({ block: "center" });
}

start?.addEventListener("held", async () => {
  start.setAttribute("aria-disabled", "true");
  said.textContent = t("base.sent");
  const [now = [], ...next] = groups();
  const unknown = (text) => { said.textContent = text; };
  const answer = await orderUntilKnown("exercise-start", { drill, seed, targets: same, searchers: now }, key, unknown);
  if (answer.ok) {
    sessionStorage.removeItem(KEPT);
    keepQueue(drill, next);
    said.textContent = t("base.taken");
    const to = `/exercises/${answer.data.exercise}`;
    const fresh = answer.data.warnings.filter((w) => !hindrances.querySelector(`[data-key="${CSS.escape(w.key)}"]`));
    if (fresh.length) warned(fresh, to);
    else location.assign(to);
    return;
  }
  key = ownId();
  said.textContent = inWords(answer.problem);
  said.scrollIntoView({ block: "center" });
  start.removeAttribute("aria-disabled");
});

const preview = document.getElementById("preview");
const estimate = preview.querySelector(".estimate");
const progress = preview.querySelector("progress");
let wanted = "";
const AT_MOST = 30; // simulated searchers together
const ANSWER_WITHIN_MS = 8000;
const AGAIN_AFTER_MS = 2000;

async function rehearse() {
  const skill = preview.querySelector("input:checked").value;
  const searchers = Math.min(AT_MOST, Math.max(1, groups()[0]?.length ?? 0));
  const query = new URLSearchParams({ seed, skill, searchers, same: page.dataset.same }).toString();
  wanted = query;
  estimate.replaceChildren(h("p", {}, t("drill.rehearsing")));
  progress.hidden = false;
  for (;;) {
    let answer, found;
    try {
      answer = await fetch(`/drills/${drill}/preview?${query}`, { signal: AbortSignal.timeout(ANSWER_WITHIN_MS) });
      found = await answer.json();
    } catch {
      if (wanted !== query || !preview.open) return;
      estimate.replaceChildren(h("p", { class: "wrong" }, t("drill.rehearsing_unreached")));
      await new Promise((done) => setTimeout(done, AGAIN_AFTER_MS));
      continue;
    }
    if (wanted !== query || !preview.open) return;
    if (answer.status === 202) {
      estimate.replaceChildren(h("p", {}, t("drill.rehearsing")));
      progress.value = found.share;
      await new Promise((done) => setTimeout(done, 400));
      continue;
    }
    progress.hidden = true;
    estimate.replaceChildren(...(answer.ok ? shown(found, query) : [h("p", { class: "wrong" }, found.detail)]));
    return;
  }
}

function shown(found, query) {
  const head = [t("drill.burial"), "10 %", "50 %", "90 %", t("drill.within")];
  const line = (name, times) => h("tr", {}, h("th", { scope: "row" }, name),
    [times.p10_s, times.p50_s, times.p90_s].map((s) => h("td", { class: "number" }, clock(s))),
    h("td", { class: "number" }, `${Math.round(times.share * 100)} %`));
  const rows = found.burials.flatMap((b) => [
    line(b.name, b.rehearsed),
    b.recorded ? line(t("drill.recorded", { n: b.recorded_count }), b.recorded) : null,
  ]);
  const others = found.burials.filter((b) => b.left_out)
    .map((b) => h("p", {}, `${b.name}: ${t("drill.left_out", { n: b.left_out })}`));
  const hard = found.burials.flatMap((b) => b.hard.map((reason) => h("li", {}, `${b.name}: ${reason.text}`)));
  const assumed = found.assumed.map((a) => h("li", {}, [a.burial, `${a.what}, ${a.taken}`].filter(Boolean).join(": ")));
  return [
    h("p", {}, h("strong", {}, t("drill.estimate", { n: found.searchers, runs: found.runs, skill: t(`drill.skill_${found.skill}`) }))),
    h("table", {}, h("thead", {}, h("tr", {}, head.map((word) => h("th", { scope: "col" }, word)))), h("tbody", {}, rows.filter(Boolean))),
    ...others,
    hard.length ? h("div", {}, h("h3", {}, t("drill.hard")), h("ul", {}, hard)) : null,
    assumed.length ? h("div", {}, h("h3", {}, t("drill.assumed")), h("ul", {}, assumed)) : null,
    h("div", {}, h("h3", {}, t("drill.granted")), h("ul", {}, found.assumptions.map((row) => h("li", {}, row)))),
    h("img", { class: "map", src: `/drills/${drill}/preview.svg?nth=${found.picture}`, alt: found.picture_text }),
  ].filter(Boolean);
}

preview.addEventListener("toggle", () => preview.open && rehearse());
preview.addEventListener("change", () => rehearse());
page.querySelector("#searchers")?.addEventListener("change", () => preview.open && rehearse());
