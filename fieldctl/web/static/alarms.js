// Alarms in force, where the patrol looks first: what, since when, what to do; and a press for what was mended.
import { h, shape, show } from "./dom.js";
import { changes, rights, rows } from "./live.js";
import { inWords, order } from "./orders.js";
import { t, when } from "./words.js";

const SHOWN = 3; // the rest is folded away: the page begins with what is done today
const STATES = { "gate-on": "sending", barred: "barred", battery: "weak", overdue: "not-heard", "not-heard": "not-heard", "link-down": "not-heard" };
const list = document.getElementById("alarms");
const form = document.getElementById("mend");
const said = document.getElementById("mend-said");
let chosen = null; // {about, what} of the alarm whose form is open

const about = (one) => one.target ?? one.link;
const same = (one) => chosen !== null && about(one) === chosen.about && one.what === chosen.what;

function line(one) {
  const state = STATES[one.what] ?? (one.fault ? "faulty" : null);
  const since = one.since === null ? t("alarms.since_unknown") : t("alarms.since", { when: when(one.since) });
  return h("li", { class: "row" },
    h("strong", {}, one.says), state && h("span", { class: `state is-${state}` }, shape(state), t(`base.state_${state}`)),
    h("span", { class: "more" }, `${since} · ${one.remedy}`),
    rights.includes("upkeep") && h("button", { class: "small plain", type: "button", "data-about": about(one), "data-what": one.what, "aria-label": `${t("alarms.mended")} ${one.name}` }, t("alarms.mended")));
}

function paint() {
  const all = rows.get("alarms")?.alarms;
  if (all === undefined) return;
  const lines = all.map(line);
  show(list, all.length === 0 ? null : [
    h("h2", {}, t("alarms.title", { n: all.length })),
    h("ul", { class: "rows" }, lines.slice(0, SHOWN)),
    lines.length > SHOWN && h("details", {}, h("summary", { class: "more-of-them" }, t("alarms.more", { n: lines.length - SHOWN })), h("ul", { class: "rows" }, lines.slice(SHOWN))),
  ]);
  if (chosen !== null && !all.some(same)) close(); // it ended meanwhile
}

function close() {
  chosen = null;
  form.hidden = true;
  form.reset();
}

// One listener for all rows: they are painted anew while somebody reads them.
list.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-about]");
  const one = button && rows.get("alarms")?.alarms.find((each) => about(each) === button.dataset.about && each.what === button.dataset.what);
  if (!one) return;
  chosen = { about: about(one), what: one.what };
  form.querySelector("legend").textContent = one.says;
  form.hidden = false;
  said.textContent = "";
  form.scrollIntoView({ block: "start" });
  form.querySelector("input").focus({ preventScroll: true });
});

form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const why = form.querySelector("[name=why]:checked")?.value ?? "";
  const note = form.querySelector("[name=note]").value.trim();
  said.textContent = t("base.sent");
  const answer = await order("alarm-clear", { ...chosen, reason: [why, note].filter(Boolean).join(" – ") });
  said.textContent = answer.ok ? t("alarms.ended") : inWords(answer.problem);
  if (answer.ok) close();
});
form?.querySelector("[data-keep]").addEventListener("click", close);

changes.addEventListener("rows", paint);
