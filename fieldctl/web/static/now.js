// The start page: what goes on now, and what ended lately.
import { h, show } from "./dom.js";
import { changes, exercises, hostNow, rows } from "./live.js";
import { clock, t } from "./words.js";

const day = document.getElementById("day");
const running = document.getElementById("running");
const ended = document.getElementById("ended");
const going = new Set(["running", "interrupted"]);
const mayOpen = document.body.dataset.audience === "watch";

function time(row) {
  return row.zero_us === null ? clock(row.clock_s) : clock((hostNow() - row.zero_us) / 1e6 - row.shift_s);
}

changes.addEventListener("beat", () => {
  const field = rows.get("field");
  if (!field) return;
  const fresh = field.fresh_left === undefined ? "" : ` · ${t("now.fresh", { n: Object.values(field.fresh_left).reduce((a, b) => a + b, 0) })}`;
  day.textContent = field.open ? (field.in_charge ? t("now.open_by", { name: field.in_charge }) + fresh : t("now.open")) : t("now.closed");
  const all = exercises();
  const now = all.filter((row) => going.has(row.state));
  show(running, now.map((row) => h("a", { class: "big", href: mayOpen ? `/exercises/${row.exercise}` : "/spectators" },
    h("span", { class: "number" }, time(row)), ` ${row.title}`, row.searchers?.length ? ` – ${row.searchers.join(", ")}` : "")));
  if (!ended) return;
  const over = all.filter((row) => !going.has(row.state)).reverse().slice(0, 8);
  show(ended, over.length ? h("h2", {}, t("now.ended")) : null, h("ul", { class: "rows" }, over.map((row) => h("li", {},
    h("a", { class: "small plain big", href: `/exercises/${row.exercise}` }, `${row.exercise} ${row.title}`),
    h("p", { class: "more" }, `${row.searchers.join(", ")} ${t(`exercise.state_${row.state}`)} ${clock(row.clock_s)}`)))));
});
