// The carry list and the retrieval: ticked whether or not the field answers, sent when it does, what disagrees shown.
import "./base.js";
import { h, shape, show } from "./dom.js";
import { changes as live, isLive } from "./live.js";
import { moment } from "./carry_moment.js";
import { changes as queue, drop, entries, flush, lasts, put } from "./carry_queue.js";
import { inWords, order, ownId } from "./orders.js";
import { span, t } from "./words.js";

const LOOKS_EVERY_MS = 5000; // other phones' ticks appear by themselves
const SHAPES = { done: "found", got: "found", "not-done": "barred", lost: "barred", conflict: "faulty", waiting: "weak", open: "not-heard" };
const page = document.getElementById("carry");
const part = (name, root = page) => root.querySelector(`[data-part=${name}]`);
const { kind, boot, who } = page.dataset;
let row = JSON.parse(page.dataset.row); // the visit or the retrieval as the field told it last
const list = row?.[kind] ?? null; // the one that this page was opened for
const labels = JSON.parse(page.dataset.labels ?? "{}");
const jobs = [...page.querySelectorAll(".job[data-item]")];
const why = new Set(); // items whose reasons lie open
let signedOut = false;

// ---- a visit and a retrieval, alike ------------------------------------------------------------------------------

const KINDS = {
  visit: {
    show: ["visit-show", { visit: list }],
    yes: "done",
    no: "not-done",
    ticks: (item) => row.items.find((one) => one.item === item)?.ticks ?? [],
    said: (tick) => (tick.done ? "done" : "not-done"),
    state: (item) => row.items.find((one) => one.item === item)?.state ?? "open",
    label: (item) => labels[item] ?? [row.items.find((one) => one.item === item)?.name ?? item, item.split(":")[1]],
    tick: (item, yes, reason) => ["visit-tick", { visit: list, item, done: yes, why: reason }],
    untick: (item) => ["visit-untick", { visit: list }],
    yesOf: (entry) => (entry.args.done ? "done" : "not-done"),
  },
  retrieval: {
    show: ["retrieval-show", { retrieval: list }],
    yes: "got",
    no: "lost",
    ticks: (item) => row.targets.find((one) => one.target === item)?.said ?? [],
    said: (tick) => tick.what,
    state: (item) => row.targets.find((one) => one.target === item)?.state ?? "open",
    label: (item) => [row.targets.find((one) => one.target === item)?.name ?? item, ""],
    tick: (item, yes, reason) => (yes
      ? ["retrieval-got", { retrieval: list, target: item }]
      : ["retrieval-lost", { retrieval: list, target: item, reason, told: part("told").value.trim() }]),
    untick: (item) => ["retrieval-undo", { retrieval: list, target: item }],
    yesOf: (entry) => (entry.verb === "retrieval-got" ? "got" : "lost"),
  },
}[kind];

// What this phone pressed of an item and the field has not taken yet.
const waiting = (item) => entries().filter((one) => one.item === item && one.list === list);

function press(item, yes, reason = "") {
  const [verb, args] = KINDS.tick(item, yes, reason);
  const before = waiting(item).filter((one) => !one.undoes);
  put({
    verb, item, list, who, knew_keys: before.map((one) => one.key),
    args: { ...args, knew: KINDS.ticks(item).map((tick) => tick.tick), ...moment(boot) },
  });
  why.delete(item);
  navigator.vibrate?.(40);
  trySending();
}

// Undo: a press that never left is taken out; one that may have arrived is followed by its undoing.
function undo(item) {
  const own = waiting(item).at(-1);
  const [verb, args] = KINDS.untick(item);
  if (own) {
    if (!drop(own.key)) put({ verb, item, list, who, undoes: true, of: own.key, args });
  } else {
    const tick = KINDS.ticks(item).at(-1);
    if (tick) put({ verb, item, list, who, undoes: true, args: { ...args, tick: tick.tick } });
  }
  trySending();
}

async function trySending() {
  paint();
  if (!isLive()) return;
  const how = await flush(who, (data, entry) => {
    if (data[kind] === list) row = data;
    if (entry.undoes && data[kind] === list) look();
  });
  signedOut = how === "sign in";
  paint();
}

async function look() {
  if (!list || !isLive() || document.visibilityState !== "visible") return;
  const [verb, args] = KINDS.show;
  const answer = await order(verb, args);
  if (!answer.ok || answer.data[kind] !== list) return;
  const over = row.open && !answer.data.open;
  row = answer.data;
  if (over && !entries().length) return location.reload(); // somebody signed it: nothing is pressed here any more
  paint();
}

// ---- what is seen ------------------------------------------------------------------------------------------------

function paint() {
  const kept = entries();
  const waits = kept.filter((one) => !one.refused).length;
  const box = part("queue");
  box.classList.toggle("waits", waits > 0);
  box.classList.toggle("sent", waits === 0);
  show(box, shape(waits ? "weak" : "found"), waits ? t("carry.not_sent", { n: waits }) : t("carry.all_sent"));
  const others = kept.find((one) => one.who !== who);
  const of_other = others ? t("carry.of_other", { name: others.who }) : "";
  const trouble = !lasts ? t("carry.store_full") : signedOut ? t("carry.sign_in_again") : of_other;
  part("trouble").hidden = !trouble;
  part("trouble").textContent = trouble;
  show(part("refused"), kept.filter((one) => one.refused).map(refusedRow));
  for (const job of jobs) paintJob(job);
  paintConflicts();
  paintEnd(waits);
}

function refusedRow(entry) {
  const [name, what] = entry.list === list ? KINDS.label(entry.item) : [entry.item, entry.list];
  return h("li", { class: "wrong" }, h("p", {}, t("carry.kept_refused", { name, what, why: inWords(entry.refused) })),
    h("button", { type: "button", class: "plain small", "data-drop": entry.key }, t("carry.drop")));
}

function stateRow(state, words) {
  return h("p", { class: `state is-${state}` }, shape(SHAPES[state]), `${t(`carry.state_${state}`)}${words ? `: ${words}` : ""}`);
}

function paintJob(job) {
  const place = part("state", job);
  if (!place) return;
  const { item } = job.dataset;
  const own = waiting(item).filter((one) => !one.refused);
  const last = own.at(-1);
  const words = last && (last.undoes ? t("base.undo") : [t(`carry.state_${KINDS.yesOf(last)}`), last.args.why ?? last.args.reason].filter(Boolean).join(", "));
  show(place, stateRow(KINDS.state(item), ""), KINDS.ticks(item).map(tickRow), last ? stateRow("waiting", words) : null);
  const said = last ? (last.undoes ? "open" : KINDS.yesOf(last)) : KINDS.state(item);
  for (const button of job.querySelectorAll("[data-do]")) {
    const what = button.dataset.do.replace("_", "-");
    if (what === "undo") button.hidden = said === "open";
    else button.setAttribute("aria-pressed", String(said === what));
  }
  const reasons = part("why", job);
  if (reasons) reasons.hidden = !why.has(item);
}

function tickRow(tick) {
  const values = { who: tick.by ?? "–", day: tick.day || "–", ago: span(tick.told_later_s ?? 0), open: span(tick.plus_minus_s ?? 0) };
  const later = tick.told_later_s !== null && tick.told_later_s > 60;
  const says = [t(`carry.state_${KINDS.said(tick)}`), tick.why].filter(Boolean).join(", ");
  return h("p", { class: "more" }, `${t(later ? "carry.ticked_ago_open" : "carry.ticked_ago", values)}: ${says}`);
}

function paintConflicts() {
  const place = part("conflicts");
  if (!place || !row) return;
  const lines = kind === "visit" ? row.items.flatMap(conflictsOf) : [];
  place.hidden = lines.length === 0;
  show(place.querySelector("ul"), lines.map((line) => h("li", {}, line)));
}

function conflictsOf(item) {
  const [name, what] = KINDS.label(item.item);
  const lines = [];
  if (item.two_say) {
    const says = item.ticks.map((tick) => t(tick.done ? "carry.says_done" : "carry.says_not_done", { who: tick.by ?? "–", why: tick.why })).join("; ");
    lines.push(t("carry.conflict_two", { name, what, says }));
  }
  for (const tick of item.ticks) {
    for (const change of tick.meanwhile) {
      const said = t(`carry.change_${change.what}`, { who: change.by ?? "–", day: change.day });
      lines.push(t("carry.conflict_meanwhile", { name, what, change: said }));
    }
    if (tick.late) lines.push(t("carry.conflict_late", { name, what, who: tick.by ?? "–" }));
  }
  return lines;
}

function paintEnd(waits) {
  const of = part("of");
  if (of) of.textContent = t("carry.retrieval_of", row);
  const close = part("close");
  if (!close) return;
  close.setAttribute("aria-disabled", String(waits > 0));
  const left = kind === "visit" ? row.items.filter((item) => item.state === "open").length : 0;
  if (part("left")) {
    part("left").textContent = waits > 0 ? t("carry.close_waits") : left ? t("carry.close_left", { n: left }) : "";
    part("left-why").hidden = left === 0;
  }
}

// ---- presses -----------------------------------------------------------------------------------------------------

page.addEventListener("click", ({ target }) => {
  const button = target.closest("button");
  if (!button) return;
  if (button.dataset.drop) return drop(button.dataset.drop);
  const item = button.closest(".job")?.dataset.item;
  if (!item || !list) return;
  const what = button.dataset.do?.replace("_", "-");
  if (what === KINDS.yes) press(item, true);
  else if (what === KINDS.no) {
    if (!why.delete(item)) why.add(item);
    paint();
  } else if (what === "undo") undo(item);
  else if (button.dataset.why) giveReason(item, button.dataset.why);
});

function giveReason(item, reason) {
  const told = part("told");
  if (told && !told.value.trim()) {
    told.focus(); // nobody is given up without somebody who was told
    told.scrollIntoView({ block: "center" });
    return;
  }
  press(item, false, reason);
}

async function tell(ordered) {
  const said = part("closing-said");
  said.textContent = t("base.sent");
  const answer = await ordered;
  said.textContent = answer.ok ? "" : inWords(answer.problem);
  if (answer.ok) location.reload();
  else if (answer.problem.code) beginKey = ownId(); // refused: the next press is another one
}

let beginKey = ownId();
part("begin")?.addEventListener("click", () => {
  const args = kind === "visit" ? { items: JSON.parse(page.dataset.items), found: JSON.parse(page.dataset.found) } : {};
  tell(order(`${kind}-begin`, args, beginKey));
});

part("close")?.addEventListener("held", () => {
  const args = { [kind]: list, signed: page.dataset.who };
  const reason = page.querySelector("[name=left-why]:checked")?.value;
  tell(order(`${kind}-close`, kind === "visit" && reason && !part("left-why").hidden ? { ...args, why: reason } : args));
});

// Packing is this phone's own: nothing of it is sent.
const PACKED = "fieldctl-packed";
const packed = new Set(readPacked());
function readPacked() {
  try {
    const kept = JSON.parse(localStorage.getItem(PACKED) ?? "{}");
    return kept.list === list ? kept.lines : [];
  } catch {
    return [];
  }
}
for (const box of page.querySelectorAll("[data-pack]")) {
  box.checked = packed.has(box.dataset.pack);
  box.addEventListener("change", () => {
    packed[box.checked ? "add" : "delete"](box.dataset.pack);
    try {
      localStorage.setItem(PACKED, JSON.stringify({ list, lines: [...packed] }));
    } catch {
      paint();
    }
  });
}

queue.addEventListener("queue", () => paint());
live.addEventListener("live", () => trySending());
window.addEventListener("online", () => trySending());
setInterval(look, LOOKS_EVERY_MS);
setInterval(() => entries().some((one) => !one.refused && one.who === who) && trySending(), LOOKS_EVERY_MS);
paint();
