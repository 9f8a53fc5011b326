// The self-test: what each target lacks, and the two proofs that somebody walks for with this phone in hand.
import "./base.js";
import { h, shape, show } from "./dom.js";
import { endSend, letSend, mayEnd, saysSo } from "./let_send.js";
import { changes, isLive } from "./live.js";
import { inWords, order } from "./orders.js";
import { t } from "./words.js";

const LOOKS_EVERY_MS = 3000;
const page = document.getElementById("self-test");
const part = (name, root = page) => root.querySelector(`[data-part=${name}]`);
let row = JSON.parse(page.dataset.row);

function paint() {
  const of = row.targets.length;
  part("round").textContent = row.round ? t("carry.self_test_round", { round: row.round, whole: row.whole, of }) : t("carry.self_test_untested");
  for (const place of page.querySelectorAll("[data-target]")) {
    const one = row.targets.find((each) => each.target === place.dataset.target);
    if (one) paintTarget(place, one);
  }
}

function paintTarget(place, one) {
  const whole = one.tested && one.lacks.length === 0;
  const state = whole ? "done" : one.tested ? "not-done" : "open";
  const says = whole ? t("carry.self_test_whole") : one.tested ? t("carry.self_test_lacks", { what: one.says.length }) : t("carry.self_test_untested");
  show(part("state", place), h("p", { class: `state is-${state}` }, shape(whole ? "found" : one.tested ? "barred" : "not-heard"), says),
    one.says.length ? h("ul", {}, one.says.map((key) => h("li", {}, `${one.name} ${t(`carry.${key}`)}`))) : null,
    one.heard_by ? h("p", { class: "more" }, `${t("carry.check_receiver")}: ${t("carry.ticked_ago", { who: one.heard_by, day: one.heard_day || "–" })}`) : null);
  const presses = part("presses", place);
  if (!presses) return;
  presses.hidden = !one.lacks.includes("receiver") && !mayEnd(one.target);
  presses.querySelector("[data-do=hear]").disabled = !saysSo(one.target); // what the target itself says
  place.querySelector("[data-do=end]").hidden = !mayEnd(one.target);
}

async function look() {
  if (!isLive() || document.visibilityState !== "visible") return;
  const answer = await order("self-test-show");
  if (!answer.ok) return;
  row = answer.data;
  paint();
}

// An order, and what became of it in the reader's sight.
async function tell(said, verb, args = {}) {
  said.textContent = t("base.sent");
  const answer = await order(verb, args);
  said.textContent = answer.ok ? "" : inWords(answer.problem);
  if (answer.ok && answer.data.targets) row = answer.data;
}

const OF_A_TARGET = {
  send: letSend,
  hear: (target, said) => tell(said, "self-test-heard", { target }),
  end: endSend,
};
const OF_ALL = { test: ["self-test", {}], touch: ["day-touch", {}] };

page.addEventListener("click", async ({ target: pressed }) => {
  const what = pressed.closest("button")?.dataset.do;
  if (!what) return;
  const place = pressed.closest("[data-target]");
  if (place) await OF_A_TARGET[what](place.dataset.target, part("said", place));
  else await tell(part("said"), ...OF_ALL[what]);
  paint();
});
part("anew")?.addEventListener("held", async () => {
  await tell(part("said"), "self-test", { anew: true });
  paint();
});

changes.addEventListener("rows", () => paint());
setInterval(look, LOOKS_EVERY_MS);
paint();
