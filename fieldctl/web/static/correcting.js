// Putting right what was entered: what can be put right is a table, and one form is built from a row of it.
//
// A correction is one more entry; the list above shows it with its undo, and what it comes to arrives by the stream.
import { h, show } from "./dom.js";
import { changes, exercises } from "./live.js";
import { inWords, order, ownId } from "./orders.js";
import { queue } from "./queue.js";
import { clock, t } from "./words.js";

const words = (key, values) => t(`exercise.correct_${key}`, values);
const MINUTES = [-60, 60, -10, 10, -1, 1];
const SECONDS = [-10, 10, -1, 1];
const HOUR_S = 3600;

// ---- what there is to choose from: [value, words] each, out of the exercise's row -------------------------------------

// Two entries of one strike lie within a second of each other: hundredths tell them apart.
const exact = (at_s) => (at_s === null || at_s < 0 ? clock(at_s) : `${Math.floor(at_s / 60)}:${(Math.floor((at_s % 60) * 100) / 100).toFixed(2).padStart(5, "0")}`);
const burials = (list) => list.map((b) => [b.burial, b.burial]);
const marks = (burial, list) => list.map((m) => [m.source, `${burial ?? "?"} ${exact(m.at_s)}`]);
const doubtful = (r, kind) => r.to_judge.filter((one) => one.kind === kind).flatMap((one) => marks(one.burial, [one]));
const byHand = (r) => new Set(r.corrections.map((c) => c.correction));
const strikes = (b, hands) => b.hits.filter((m) => !hands.has(m.source)); // no pad reported a hit by hand

const hits = (r) => r.burials.flatMap((b) => marks(b.burial, strikes(b, byHand(r))));
const calls = (r) => r.burials.flatMap((b) => marks(b.burial, b.calls));
const foundByHit = (r) => burials(r.burials.filter((b) => b.find_by === "hit")); // a call ends the others
const found = (r) => burials(r.burials.filter((b) => b.find));
const called = (r, { about }) => burials(r.burials.filter((b) => !b.calls.some((m) => m.source === about)));
const pairs = (r) => r.burials.flatMap((b) => {
  const two = strikes(b, byHand(r));
  return two.length > 1 ? marks(b.burial, two) : [];
});
const partners = (r, { about }) => r.burials.filter((b) => b.hits.some((m) => m.source === about))
  .flatMap((b) => marks(b.burial, strikes(b, byHand(r)).filter((m) => m.source !== about)));
const kinds = () => ["probe", "step", "vehicle", "unsure"].map((kind) => [kind, words(kind)]);
const people = (r) => {
  const known = exercises().flatMap((one) => [...one.searchers, ...one.burials.flatMap((b) => b.find?.searcher?.split(" + ") ?? [])]);
  return [...new Set([...r.searchers, ...known, ...queue(r.drill).flat()])].filter(Boolean).map((name) => [name, name]);
};
const shifted = (n) => (n === 0 ? words("as_recorded") : words(n > 0 ? "later" : "earlier", { n: Math.abs(n) }));

// ---- the table --------------------------------------------------------------------------------------------------------

const pick = (name, word, options, typed = false) => ({ name, word, options, typed });
const CHANGES = {
  "add-hit": {
    fields: [
      pick("about", "burial", foundByHit),
      { name: "value", word: "time", by: MINUTES, least: 0, begin: (_, now) => Math.max(0, Math.floor(now ?? 0)), say: clock },
    ],
    whys: ["no_pad", "seen", "told"],
  },
  give: { fields: [pick("about", "burial", found), pick("value", "searcher", people, true)], whys: ["other_found", "wrong_name", "told"] },
  "shift-start": {
    fields: [{ name: "value", word: "shift", by: SECONDS, least: -HOUR_S, begin: (r) => Math.round(r.shift_s), say: shifted }],
    whys: ["set_off_late", "set_off_early"],
  },
  merge: { fields: [pick("about", "hit", pairs), pick("value", "same", partners)], whys: ["one_push", "seen"] },
  "place-call": {
    fields: [pick("about", "call", (r) => [...calls(r), ...doubtful(r, "call")]), pick("value", "for", called)],
    whys: ["wrong_tap", "seen", "told"],
  },
  judge: {
    fields: [pick("about", "hit", (r) => [...hits(r), ...doubtful(r, "strike")]), pick("value", "taken", kinds)],
    whys: ["seen", "told", "nobody_there"],
  },
};
const whyField = (change) => pick("why", "why", () => CHANGES[change].whys.map((one) => words(`why_${one}`)).map((text) => [text, text]), true);

// ---- the form ---------------------------------------------------------------------------------------------------------

const button = (data, text) => h("button", { type: "button", class: "plain", ...data }, text);
const stepWords = (by) => t(by % 60 ? "base.seconds" : "base.minutes", { n: `${by < 0 ? "−" : "+"}${Math.abs(by % 60 ? by : by / 60)}` });

function mark(one, on) {
  one.classList.toggle("pressed", on);
  one.setAttribute("aria-pressed", on);
}

// Put the form below the list of entries; `row()` is the exercise, `seconds(row)` its clock, `tell` says what became of it.
export function correcting(entries, { row, seconds, mayInstruct, tell }) {
  const menu = h("div", { class: "buttons two" }, Object.keys(CHANGES).map((change) => button({ "data-change": change }, words(change))));
  const form = h("div", {});
  const send = h("button", { type: "button", "data-send": true }, words("send"));
  const section = h("details", { id: "correcting" }, h("summary", { class: "big small plain" }, words("title")), menu, form);
  let [change, values, parts, key, sending] = [null, {}, [], null, false];

  // What a field is shown in: choices or steps, and where it says so a line to type in; each is made once.
  function made(field) {
    const box = field.by ? h("output", { class: "clock" }) : h("div", { class: "buttons two" });
    const input = field.typed ? h("input", { type: "text", maxlength: "200", autocomplete: "off" }) : null;
    input?.addEventListener("input", () => set(field.name, input.value.trim() || undefined));
    const body = h("fieldset", {}, h("legend", {}, words(`field_${field.word}`)), box,
      field.by ? h("div", { class: "buttons two" }, field.by.map((by) => button({ "data-field": field.name, "data-step": by }, stepWords(by)))) : null,
      input ? h("label", {}, words(`typed_${field.word}`), input) : null);
    return { field, box, input, body };
  }

  function choose(which) {
    [change, values, key] = [which, {}, null];
    for (const one of menu.children) mark(one, one.dataset.change === which);
    parts = which ? [...CHANGES[which].fields, whyField(which)].map(made) : [];
    for (const { field } of parts) if (field.begin) values[field.name] = field.begin(row(), seconds(row()));
    form.replaceChildren(...parts.map(({ body }) => body), ...(which ? [h("div", { class: "buttons" }, send)] : []));
    paint();
  }

  function set(name, value) {
    values[name] = value;
    key = null; // what says something else is another correction
    paint();
  }

  function paint() {
    const r = row();
    if (!r || !change || !section.open) return;
    for (const { field, box } of parts) {
      if (field.by) box.textContent = field.say(values[field.name]);
      else if (key === null) paintChoices(box, field, field.options(r, values)); // what was sent stays as it was chosen
    }
    send.disabled = sending || parts.some(({ field }) => values[field.name] === undefined);
  }

  function paintChoices(box, field, options) {
    if (!field.typed && !options.some(([value]) => value === values[field.name])) values[field.name] = undefined;
    show(box, options.length ? options.map(([value, text]) => button({ "data-field": field.name, "data-value": value }, text)) : h("p", {}, words("none")));
    for (const one of box.querySelectorAll("button")) mark(one, one.dataset.value === values[field.name]);
  }

  // Pressed again after no answer came it is the same correction, and counts once.
  async function sendIt() {
    const r = row();
    key ??= ownId();
    sending = true;
    tell(t("base.sent"));
    paint();
    const { about = r.exercise, value, why } = values;
    const answer = await order("exercise-correct", { exercise: r.exercise, change, about, value, why }, key);
    sending = false;
    tell(answer.ok ? `${t("exercise.corrected")} – ${t("base.taken")}` : inWords(answer.problem), !answer.ok);
    if (answer.ok) {
      choose(null);
      section.open = false;
    } else if (answer.problem.status) key = null;
    paint();
    document.getElementById("orders").scrollIntoView({ block: "center" });
  }

  section.addEventListener("click", (event) => {
    const { change: which, field: name, step, value, send: sent } = event.target.closest("button")?.dataset ?? {};
    const part = parts.find(({ field }) => field.name === name);
    if (which) choose(which);
    else if (step) set(name, Math.min(HOUR_S * 24, Math.max(part.field.least, values[name] + Number(step))));
    else if (value !== undefined) {
      if (part.input) part.input.value = "";
      set(name, value);
    } else if (sent !== undefined) sendIt();
    if (which) form.scrollIntoView({ block: "start" });
  });
  section.addEventListener("toggle", paint);
  entries.addEventListener("toggle", () => entries.open && mayInstruct() && row() && entries.append(section));
  changes.addEventListener("rows", paint);
}
