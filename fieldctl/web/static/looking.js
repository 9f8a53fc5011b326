// For searchers and whoever looks on: the clock and what was called, and nothing that would be a hint.
import { h, show } from "./dom.js";
import { changes, exercises, hostNow } from "./live.js";
import { clock, t } from "./words.js";

const place = document.getElementById("looking");
const going = new Set(["running", "interrupted"]);
const only = new URLSearchParams(location.search).get("exercise");

changes.addEventListener("beat", () => {
  const all = exercises().filter((row) => !only || row.exercise === only);
  const now = all.filter((row) => going.has(row.state));
  const shown = now.length ? now : all.slice(-1);
  show(place, shown.length ? shown.map(one) : h("p", { class: "note" }, t("looking.nothing")));
});

function one(row) {
  const seconds = row.zero_us === null ? row.clock_s : (hostNow() - row.zero_us) / 1e6 - row.shift_s;
  return h("section", {}, h("h2", {}, row.title ?? t("looking.exercise", { exercise: row.exercise })),
    h("p", { class: "clock" }, clock(seconds)),
    row.state === "interrupted" ? h("p", { class: "note" }, t("looking.interrupted")) : null,
    h("ol", {}, row.called_s.map((at) => h("li", {}, t("looking.called", { time: clock(at) })))),
    row.of !== null ? h("p", { class: "note" }, t("looking.over", { found: row.found, of: row.of })) : null);
}
