// Walk-in: each released zone with its one button, the clock while a party is out, and the panel that releases it.
import { h, show } from "./dom.js";
import { changes, hostNow, isLive, rows } from "./live.js";
import { inWords, order } from "./orders.js";
import { clock, t } from "./words.js";

const sections = [...document.querySelectorAll("section.walk-in")];
const part = (section, name) => section.querySelector(`[data-part=${name}]`);

// What was said of a press holds while its zone is in one of these states, and is then taken away: whoever is told to be
// on search when the party is over would stay so.
const OVER = ["free", "later", "pause", "ended"];
const HOLDS = { started: ["goes-on"], "goes-on": ["goes-on"], pause: ["pause"], stopped: OVER };
const COMES_WITHIN_MS = 3000; // the answer may be here before the zone's new state
const told = new Map(); // zone -> {states, seen, at}

function said(section, text, states = []) {
  part(section, "said").textContent = text;
  told.set(section.dataset.zone, { states, seen: false, at: performance.now() });
}

function forget(section, state) {
  const last = told.get(section.dataset.zone);
  if (!last?.states.length) return;
  if (last.states.includes(state)) last.seen = true;
  else if (last.seen || performance.now() - last.at > COMES_WITHIN_MS) said(section, "");
}

for (const section of sections) {
  const { zone } = section.dataset;
  part(section, "start").addEventListener("held", async () => {
    said(section, t("base.sent"));
    const answer = await order("walkin-start", { zone });
    if (answer.ok) said(section, t(`walkin.said_${answer.data.did}`, { time: clock(answer.data.wait_s) }), HOLDS[answer.data.did]);
    else said(section, inWords(answer.problem), [rows.get(`walkin:${zone}`)?.state]);
  });
  part(section, "stop").addEventListener("click", async () => {
    said(section, t("base.sent"));
    const answer = await order("walkin-stop", { zone });
    if (answer.ok) said(section, t("walkin.said_stopped"), HOLDS.stopped);
    else said(section, inWords(answer.problem), [rows.get(`walkin:${zone}`)?.state]);
  });
}

changes.addEventListener("beat", () => {
  const field = rows.get("field");
  if (!field) return;
  const none = document.getElementById("none");
  none.textContent = field.open ? t("walkin.none") : t("walkin.closed");
  none.hidden = sections.some((section) => rows.has(`walkin:${section.dataset.zone}`));
  for (const section of sections) showZone(section, rows.get(`walkin:${section.dataset.zone}`), field);
});

function showZone(section, row, field) {
  section.hidden = !row;
  forget(section, row?.state);
  if (!row) return;
  const now = hostNow();
  const until = (us) => clock(Math.max(0, (us - now) / 1e6));
  const goes = row.state === "goes-on";
  show(part(section, "about"),
    row.drill ? h("p", {}, h("strong", {}, row.drill)) : null,
    row.limit_s ? h("p", {}, t("walkin.limit", { minutes: Math.round(row.limit_s / 60) })) : null);
  const time = part(section, "clock");
  time.hidden = !goes || row.zero_us === null;
  if (!time.hidden) time.textContent = clock((now - row.zero_us) / 1e6);
  show(part(section, "state"),
    h("p", {}, t(`walkin.state_${row.state}`)),
    row.state === "later" ? h("p", { class: "number" }, t("walkin.begins_in", { time: until(row.begins_us) })) : null,
    row.state === "pause" ? h("p", { class: "number" }, t("walkin.free_in", { time: until(row.free_us) })) : null,
    row.of === null ? null : h("p", { class: "note" }, t("walkin.result", { found: row.found, of: row.of })),
    row.others ? h("p", { class: "note" }, t("walkin.others")) : null);
  const start = part(section, "start");
  start.hidden = row.state !== "free";
  start.setAttribute("aria-disabled", String(!isLive() || field.all_off.in_force || !field.open));
  part(section, "stop").hidden = !goes;
}

// ---- the panel -------------------------------------------------------------------------------------------------

document.getElementById("release")?.addEventListener("click", async ({ target }) => {
  const release = target.closest("[data-end]")?.dataset.end;
  if (!release) return;
  const answer = await order("walkin-end", { release });
  if (answer.ok) location.reload();
  else target.closest("div").append(h("p", { class: "wrong" }, inWords(answer.problem)));
});

// A time of today on this phone's clock, with its offset, as the controller wants it.
function today(text) {
  const [hours, minutes] = text.split(":").map(Number);
  const at = new Date();
  at.setHours(hours, minutes, 0, 0);
  return at.toISOString().replace(".000Z", "+00:00");
}

document.getElementById("releasing")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = new FormData(event.target);
  const args = { drill: form.get("drill"), zones: form.getAll("zones"), pause_s: Number(form.get("pause_s")), limit_min: Number(form.get("limit_min")) };
  if (form.get("begins")) args.begins = today(form.get("begins"));
  if (form.get("ends")) args.ends = today(form.get("ends"));
  else args.ends_in_min = 60 * Number(form.get("hours"));
  const place = document.getElementById("released");
  place.textContent = t("base.sent");
  const answer = await order("walkin-release", args);
  if (!answer.ok) {
    place.textContent = inWords(answer.problem);
    return;
  }
  const wrong = Object.values(answer.data.in_the_way_now).flat();
  if (!wrong.length) return location.reload();
  place.textContent = [t("walkin.said_released"), ...wrong].join(" ");
});
