// One exercise on a phone: clock, bands, call and split by one thumb, what a person has to judge, undo, again.
import { bands, inWords as bandInWords, splitWord } from "./bands.js";
import { correcting } from "./correcting.js";
import { h, show } from "./dom.js";
import { changes, hostNow, isLive, rights, rows } from "./live.js";
import { inWords, order, orderUntilKnown, ownId } from "./orders.js";
import { keepQueue, queue } from "./queue.js";
import { arm, armed, flash, keepAwake, onSound, tone } from "./sound.js";
import { clock, has, t } from "./words.js";

const UNDO_FOR_MS = 10000;
const ONE_PRESS_MS = 1200;
const TOLD_FOR_MS = 6000; // what went well; what failed stays until something else is pressed
const SPLITS = ["signal", "coarse", "fine"]; // in this order on the way in; after the call comes the airway

const page = document.getElementById("exercise");
const { exercise } = page.dataset;
const find = (id) => document.getElementById(id);
const [face, who, state, drawn, words, ask, callButton, splitButton, after, said, entries, sound, stop] = [
  "clock", "who", "state", "bands", "words", "ask", "call", "split", "after", "orders", "entries", "sound", "stop",
].map(find);
const mayInstruct = () => rights.includes("instruct");

let chosen = null; // the burial that call and split are for
let undo = null; // {what, change, about, until}
let known = null; // finds and things to judge, to tell what is new
let stopping = false;
let pressed_at = -Infinity; // a thumb that trembles taps twice; under it the next burial's name has come
let told = { text: "", until: 0, failed: false }; // what became of the last order

const row = () => rows.get(`exercise:${exercise}`);
const seconds = (r) => (r.zero_us === null ? r.clock_s : (hostNow() - r.zero_us) / 1e6 - r.shift_s);

// The time line is one large button: each press chooses the next burial. A single band is too low for a glove.
function chooseNext() {
  const names = row().burials.map((b) => b.burial);
  chosen = names[(names.indexOf(chosen) + 1) % names.length];
  paint();
}

// ---- what is shown ------------------------------------------------------------------------------------------------

function paint() {
  const r = row();
  if (!r) return;
  const now = seconds(r);
  face.textContent = clock(now);
  face.classList.toggle("late", now !== null && now > r.limit_s);
  who.textContent = r.searchers.join(", ") || t("exercise.nobody_named");
  state.textContent = t(`exercise.state_${r.state}`);
  if (!r.burials.some((b) => b.burial === chosen)) chosen = next(r);
  drawBands(r, now);
  if (callButton) showButtons(r, now);
  showAsk(r);
  showChoosing(r);
  showAfter(r);
  showEntries(r);
  showSending(r);
  listenFor(r);
}

// Nothing is pressed under the thumb that just held start: call and split wait for the clock.
function showButtons(r, now) {
  callButton.hidden = splitButton.hidden = r.state !== "running" || !mayInstruct();
  stop.hidden = !["running", "interrupted"].includes(r.state);
  const b = r.burials.find((one) => one.burial === chosen);
  callButton.textContent = t("exercise.call_for", { burial: chosen });
  splitButton.textContent = t("exercise.split_for", { burial: chosen, split: splitWord(nextSplit(b)) });
  callButton.disabled = splitButton.disabled = !isLive() || now < 0 || performance.now() - pressed_at < ONE_PRESS_MS;
  if (!stopping) stop.textContent = t("exercise.stop");
}

let drawnFor = "";
function drawBands(r, now) {
  const key = JSON.stringify([r.burials, chosen, Math.floor((now ?? 0) / 2), r.state]);
  if (key === drawnFor) return;
  drawnFor = key;
  words.replaceChildren(...r.burials.map((b) => h("li", {}, h("strong", {}, b.burial), ` ${b.name}: ${t(`exercise.phase_${b.phase}`)}`,
    b.find ? ` · ${t("exercise.found_at", { time: clock(b.find.at_s) })}${b.find.searcher ? ` (${b.find.searcher})` : ""}` : "")));
  drawn.setAttribute("aria-label", [t("exercise.bands"), ...r.burials.map(bandInWords)].join(". "));
  drawn.replaceChildren(bands(r, now, chosen));
}

// While two answers are asked for, they come first, and no more than six buttons are live.
const choosable = () => drawn.getAttribute("role") === "button";
function showChoosing(r) {
  const pressed = r.state === "running" && mayInstruct() && r.burials.length > 1 && ask.querySelectorAll("button").length < 2;
  drawn.setAttribute("role", pressed ? "button" : "img");
  drawn.tabIndex = pressed ? 0 : -1;
}
drawn.addEventListener("click", () => choosable() && chooseNext());
drawn.addEventListener("keydown", (event) => {
  if (![" ", "Enter"].includes(event.key) || !choosable()) return;
  event.preventDefault();
  chooseNext();
});

// The first that is neither called nor found, else the first that is not called.
const next = (r) => (r.burials.find((b) => !b.calls.length && !b.find) ?? r.burials.find((b) => !b.calls.length) ?? r.burials[0]).burial;

function nextSplit(b) {
  if (b.calls.length) return "airway";
  const taken = new Set(b.splits.map((one) => one.name));
  return SPLITS.find((name) => !taken.has(name)) ?? "fine";
}

// What each order has come to: sent, taken by the controller, confirmed by the target; or what was refused, which stays.
function tell(text, failed = false) {
  told = { text, until: failed ? Infinity : performance.now() + TOLD_FOR_MS, failed };
  said.textContent = text;
  said.classList.toggle("wrong", failed);
  if (failed) flash(said);
}

function showSending(r) {
  const on = r.burials.filter((b) => b.phase === "ordered").map((b) => b.burial);
  const fresh = told.until > performance.now();
  const ordered = r.state === "running" && on.length ? t("exercise.ordered", { burials: on.join(", ") }) : "";
  const text = fresh ? told.text : ordered;
  if (said.textContent !== text) said.textContent = text;
  said.classList.toggle("wrong", fresh && told.failed);
}

// ---- one thing at a time: what sends and wants a word, undo, a strike to judge ----------------------------------------

function showAsk(r) {
  if (!mayInstruct()) return show(ask);
  if (r.state === "interrupted") {
    return show(ask, h("div", { class: "asked" }, h("p", {}, t("exercise.interrupted")), h("button", { type: "button", "data-do": "resume" }, t("exercise.resume"))));
  }
  const question = r.questions[0];
  if (question) {
    return show(ask, h("div", { class: "asked" }, h("p", {}, question.what), h("div", { class: "buttons two" },
      question.choices.map((choice) => h("button", { type: "button", class: "plain", "data-do": "answer", "data-about": question.question, "data-value": choice },
        has(`exercise.choice_${choice}`) ? t(`exercise.choice_${choice}`) : choice)))));
  }
  if (undo && undo.until > performance.now()) {
    return show(ask, h("div", { class: "asked one" }, h("p", {}, undo.what), h("button", { type: "button", class: "plain", "data-do": "undo" }, t("base.undo"))));
  }
  const doubtful = r.to_judge[0];
  if (!doubtful) return show(ask);
  const where = doubtful.burial ?? "?";
  const line = t("exercise.judge", { burial: where, time: clock(doubtful.at_s), why: doubtful.why, n: r.to_judge.length });
  const counts = {
    strike: { "data-do": "judge", "data-value": "probe", word: t("exercise.judge_probe") },
    call: { "data-do": "place", "data-value": doubtful.burial ?? chosen, word: t("exercise.judge_call", { burial: doubtful.burial ?? chosen }) },
  }[doubtful.kind];
  return show(ask, h("div", { class: "asked" }, h("p", {}, line), h("div", { class: "buttons two" },
    counts ? h("button", { type: "button", class: "plain", "data-do": counts["data-do"], "data-about": doubtful.source, "data-value": counts["data-value"] }, counts.word) : null,
    h("button", { type: "button", class: "plain", "data-do": "void", "data-about": doubtful.source }, doubtful.kind === "strike" ? t("exercise.judge_not") : t("exercise.void")))));
}

ask.addEventListener("click", async (event) => {
  const button = event.target.closest("button[data-do]");
  if (!button) return;
  button.disabled = true;
  const { do: what, about, value } = button.dataset;
  const by = {
    undo: () => takeBack(),
    resume: () => carry("exercise-resume", {}, t("exercise.resumed")),
    answer: () => carry("exercise-answer", { question: about, answer: value }, t("exercise.answered")),
    judge: () => correct("judge", about, t("exercise.why_judged"), value),
    place: () => correct("place-call", about, t("exercise.why_judged"), value),
    void: () => correct("void", about, t("exercise.why_judged")),
  };
  await by[what]();
  delete ask.dataset.shown;
  paint();
});

// ---- orders -------------------------------------------------------------------------------------------------------

async function carry(verb, args, done, ordered = order) {
  tell(t("base.sent"));
  const answer = await ordered(verb, { exercise, ...args });
  tell(answer.ok ? `${done} – ${t("base.taken")}` : inWords(answer.problem), !answer.ok);
  return answer;
}

// A tap keeps its moment however late it comes, so it is sent until it is known to be there.
const tapped = (verb, args) => orderUntilKnown(verb, args, ownId(), (text) => tell(text, true));

function offerUndo(what, about, change = "void") {
  undo = { what, about, change, until: performance.now() + UNDO_FOR_MS };
  setTimeout(paint, UNDO_FOR_MS + 50);
  paint();
}

async function takeBack() {
  const { about, change } = undo;
  undo = null;
  await carry("exercise-correct", { change, about, why: t("exercise.why_undo") }, t("exercise.undone"));
}

async function correct(change, about, why, value = null) {
  const answer = await carry("exercise-correct", { change, about, why, value }, t("exercise.corrected"));
  if (answer.ok) offerUndo(t("exercise.corrected"), answer.data.correction, "undo");
}

callButton?.addEventListener("click", async () => {
  const burial = chosen;
  pressed_at = performance.now();
  paint();
  const answer = await carry("exercise-call", { burial }, t("exercise.called", { burial }), tapped);
  if (answer.ok) offerUndo(t("exercise.called", { burial }), answer.data.call);
  const r = row();
  if (r) chosen = next({ ...r, burials: r.burials.map((b) => (b.burial === burial ? { ...b, calls: [{}] } : b)) });
  paint();
});

splitButton?.addEventListener("click", async () => {
  const burial = chosen;
  pressed_at = performance.now();
  const name = nextSplit(row().burials.find((b) => b.burial === burial));
  const answer = await carry("exercise-split", { burial, name }, splitWord(name), tapped);
  if (answer.ok) offerUndo(`${splitWord(name)} ${burial}`, answer.data.split);
});

stop?.addEventListener("click", async () => {
  stopping = true;
  undo = null;
  stop.textContent = t("base.sent");
  await carry("exercise-stop", {}, t("exercise.stopped"));
  stopping = false;
  paint();
});

// ---- after the end --------------------------------------------------------------------------------------------------

// Made once: what is under a thumb stays the same element, whatever its words become.
const quietNote = h("p", {});
const backButton = find("back");
const againHold = h("fc-hold", { class: "big", ms: "700", id: "again" });
after.append(h("div", { class: "buttons" }, quietNote, h("a", { class: "big plain", href: `/exercises/${exercise}/debrief` }, t("exercise.debrief")), againHold));
after.hidden = true;

function showAfter(r) {
  after.hidden = ["running", "interrupted"].includes(r.state);
  if (backButton && after.hidden) backButton.hidden = true;
  if (after.hidden) return;
  const back = r.take_back_until_us === null ? 0 : (r.take_back_until_us - hostNow()) / 1e6;
  const loud = r.burials.filter((b) => !b.says_quiet);
  const [next] = queue(r.drill);
  quietNote.textContent = loud.length ? t("exercise.not_quiet", { names: loud.map(notQuiet).join(", ") }) : t("exercise.all_quiet");
  quietNote.classList.toggle("wrong", loud.length > 0);
  if (backButton) {
    backButton.hidden = !(back > 0 && mayInstruct()) || rows.get("field")?.all_off.in_force;
    backButton.textContent = t("exercise.take_back", { seconds: Math.ceil(back) });
  }
  againHold.hidden = !mayInstruct();
  const nobody = r.searchers.length > 0; // whoever searched now is not taken for the next ones
  const names = next?.join(", ") ?? (nobody ? t("exercise.nobody_named") : "");
  againHold.textContent = names ? t("exercise.again_with", { names }) : t("exercise.again");
}

// Who has not said that it is quiet, and how long it may still send.
function notQuiet(b) {
  const left = b.may_send_until_us === null ? 0 : (b.may_send_until_us - hostNow()) / 1e6;
  return left > 0 ? `${b.name} (${t("base.off_may_send", { seconds: Math.ceil(left) })})` : b.name;
}

// The targets of the next one: those of before, or where one cannot be had, after it was said and held again, another.
let otherwise = "";
async function againWith(r) {
  const before = Object.fromEntries(r.burials.map((b) => [b.burial, b.target]));
  const looked = await order("exercise-check", { drill: r.drill, seed: r.seed, targets: before });
  if (!looked.ok) {
    tell(inWords(looked.problem), true);
    return null;
  }
  const { notes, picks } = looked.data;
  const text = notes.join(" ");
  if (text !== otherwise && Object.keys(picks).length) {
    otherwise = text;
    if (text) {
      tell(`${text} ${t("exercise.again_otherwise")}`, true);
      return null;
    }
  }
  return Object.keys(picks).length ? picks : before; // nobody can be had: the start says what is in the way
}

backButton?.addEventListener("click", () => carry("exercise-reopen", {}, t("exercise.taken_back")));
againHold.addEventListener("held", async () => {
  const r = row();
  const key = ownId();
  tell(t("base.sent"));
  const targets = await againWith(r);
  if (!targets) return;
  const [searchers = [], ...later] = queue(r.drill);
  const unknown = (text) => tell(text, true);
  const answer = await orderUntilKnown("exercise-start", { drill: r.drill, seed: r.seed, targets, searchers }, key, unknown);
  if (answer.ok) {
    keepQueue(r.drill, later);
    location.assign(`/exercises/${answer.data.exercise}`);
  } else tell(inWords(answer.problem), true);
});

// ---- everything that was entered, with undo ---------------------------------------------------------------------------

function showEntries(r) {
  if (!entries.open) return;
  const gone = new Set(r.corrections.filter((c) => c.change === "void" && !c.undone).map((c) => c.about));
  const line = (words, source) => h("li", { class: "row" }, h("span", {}, words), mayInstruct() && source
    ? h("button", { type: "button", class: "small plain", "data-void": source }, t("exercise.void")) : null);
  const of = (b) => [
    ...b.hits.map((m) => [m.at_s, `${b.burial}: ${t("exercise.hit_at", { time: clock(m.at_s) })}`, m.source]),
    ...b.calls.map((m) => [m.at_s, `${b.burial}: ${t("exercise.call_at", { time: clock(m.at_s) })}`, m.source]),
    ...b.splits.map((m) => [m.at_s, `${b.burial}: ${splitWord(m.name)} ${clock(m.at_s)}`, m.source]),
  ];
  const all = r.burials.flatMap(of).sort((a, b) => a[0] - b[0]).filter(([, , source]) => !gone.has(source));
  const made = r.corrections.filter((c) => c.change !== "undo").map((c) => h("li", { class: "row" },
    h("span", {}, `${t(`exercise.change_${c.change}`)} – ${c.by}: ${c.why}${c.undone ? ` (${t("exercise.undone")})` : ""}`),
    mayInstruct() && !c.undone ? h("button", { type: "button", class: "small plain", "data-undo": c.correction }, t("base.undo")) : null));
  show(entries.querySelector("div"), h("ul", { class: "rows" }, all.map(([, words, source]) => line(words, source)), made),
    r.anomalies.length ? h("ul", {}, r.anomalies.map((a) => h("li", {}, a))) : null);
}
entries.addEventListener("toggle", paint);
entries.addEventListener("click", (event) => {
  const { void: source, undo: correction } = event.target.dataset;
  if (source) correct("void", source, t("exercise.why_voided"));
  else if (correction) carry("exercise-correct", { change: "undo", about: correction, why: t("exercise.why_undo") }, t("exercise.undone"));
});

correcting(entries, { row, seconds, mayInstruct, tell });

// ---- tone and flash together ----------------------------------------------------------------------------------------

function listenFor(r) {
  const finds = r.burials.filter((b) => b.find).length;
  const doubts = r.to_judge.length;
  if (known && (finds > known.finds || doubts > known.doubts)) {
    tone(finds > known.finds ? 880 : 440, 0.35);
    flash(drawn);
  }
  known = { finds, doubts };
  keepAwake(r.state === "running");
}
function showSound() {
  sound.textContent = armed() ? t("exercise.sound_on") : t("exercise.sound_off");
}
sound.addEventListener("click", () => arm().then(showSound));
onSound(showSound);
showSound();

changes.addEventListener("rows", paint);
changes.addEventListener("live", paint);
setInterval(() => {
  const r = row();
  if (r) face.textContent = clock(seconds(r));
  if (undo && undo.until < performance.now()) undo = null;
  if (r) paint();
}, 250);
