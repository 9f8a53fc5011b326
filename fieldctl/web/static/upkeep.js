// Upkeep: how old each value is by now, the held presses (fresh cells put in, barred, cleared), and a list that is still
// being worked out: this page shows itself anew when it is there, unless somebody has opened a target in the meantime.
import "./base.js";
import { h } from "./dom.js";
import { inWords, order, ownId } from "./orders.js";
import { span, t } from "./words.js";

const AGES_EVERY_MS = 30000;
const COMING_EVERY_MS = 1000;
const DAY_S = 86400;
const OLD_DAYS = 2; // from then on an age is told in days
const KEPT = "fieldctl-upkeep-did"; // what the last press did, over the reload that shows it
const language = document.documentElement.lang;

// A moment in the reader's own time, and how long ago that is; a whole day stays a day.
function showTimes() {
  for (const time of document.querySelectorAll("main time[datetime]")) {
    if (time.dateTime.length <= 10) continue;
    const at = new Date(time.dateTime);
    if (Number.isNaN(at.getTime())) continue;
    const seconds = Math.max(0, (Date.now() - at.getTime()) / 1000);
    const age = seconds < OLD_DAYS * DAY_S ? t("base.ago", { age: span(seconds) }) : t("upkeep.days_ago", { n: Math.floor(seconds / DAY_S) });
    const said = at.toLocaleString(language, { dateStyle: "medium", timeStyle: "short", hourCycle: "h23" });
    time.textContent = time.closest(".moments") ? said : `${said} (${age})`;
  }
}

const keys = new Map(); // of each target and day: a press sent again after no answer is the same press

for (const place of document.querySelectorAll(".swap")) {
  place.querySelector("[data-do=swap]").addEventListener("held", async ({ target: hold }) => {
    if (hold.getAttribute("aria-disabled") === "true") return;
    const said = place.querySelector(".said");
    const { target } = place.dataset;
    const day = place.querySelector("input").value;
    const what = `${target} ${day}`;
    if (!keys.has(what)) keys.set(what, ownId());
    hold.setAttribute("aria-disabled", "true");
    said.textContent = t("base.sent");
    const answer = await order("battery-swapped", { target, day }, keys.get(what));
    hold.removeAttribute("aria-disabled");
    if (!answer.ok) {
      said.textContent = inWords(answer.problem);
      return;
    }
    keep({ text: t("upkeep.swap_done", answer.data), target, day: answer.data.day });
    location.reload();
  });
}

// Barred, and cleared again: each with a reason, the page then says how it stands.
for (const place of document.querySelectorAll(".barring")) {
  const hold = place.querySelector("[data-do]");
  hold.addEventListener("held", async () => {
    if (hold.getAttribute("aria-disabled") === "true") return;
    const box = place.querySelector("input");
    const said = place.querySelector(".said");
    const reason = box.value.trim();
    if (!reason) {
      said.textContent = t("upkeep.bar_why");
      box.focus();
      return;
    }
    hold.setAttribute("aria-disabled", "true");
    said.textContent = t("base.sent");
    const answer = await order(hold.dataset.do, { target: place.dataset.target, reason });
    hold.removeAttribute("aria-disabled");
    if (answer.ok) location.reload();
    else said.textContent = inWords(answer.problem);
  });
}

const kept = JSON.parse(sessionStorage.getItem(KEPT));
sessionStorage.removeItem(KEPT);
if (kept) showKept();

function keep(row) {
  sessionStorage.setItem(KEPT, JSON.stringify(row));
}

// What was done, with its undoing: fresh cells said of the wrong target.
function showKept() {
  const said = document.getElementById("said");
  const undo = kept.target && h("button", { type: "button", class: "small plain", "data-do": "unswap", onclick: () => unswap(said) }, t("base.undo"));
  said.replaceChildren(`${kept.text} `, ...(undo ? [undo] : []));
}

async function unswap(said) {
  said.textContent = t("base.sent");
  const answer = await order("battery-swap-undo", { target: kept.target, day: kept.day });
  if (!answer.ok) {
    said.textContent = inWords(answer.problem);
    return;
  }
  keep({ text: t("upkeep.swap_undone", answer.data) });
  location.reload();
}

const coming = document.querySelector("[data-coming=said]");

async function look() {
  const found = await fetch("/upkeep/coming").then((answer) => (answer.ok ? answer.json() : null)).catch(() => null);
  if (found === null || found.coming === "said") setTimeout(look, COMING_EVERY_MS);
  else if (found.coming === "failed") coming.firstChild.data = `${t("upkeep.coming_failed")} `;
  else if (document.querySelector(".targets details[open]")) coming.firstChild.data = `${t("upkeep.coming_there")} `;
  else {
    if (kept) keep(kept); // said once more on the page that knows it
    location.reload();
  }
}

if (coming) setTimeout(look, COMING_EVERY_MS);
showTimes();
setInterval(showTimes, AGES_EVERY_MS);
