// The page of people: rights given and taken, phones paired by QR and ended. Each press asks once and shows what came of it.
import { inWords, order } from "./orders.js";
import { clock, t } from "./words.js";

const UNDO_FOR_MS = 60000;
const KEPT = "fieldctl-people-undo"; // what the last press did, over the reload that shows it
const said = document.getElementById("said");
const pairing = document.getElementById("pairing");
const language = document.documentElement.lang;

for (const time of document.querySelectorAll("main time")) {
  const at = new Date(time.dateTime);
  if (!Number.isNaN(at.getTime())) time.textContent = at.toLocaleString(language, { dateStyle: "medium", timeStyle: "short", hourCycle: "h23" });
}

// What a refusal means here, in the reader's language; what is not among these is said as the controller says it.
const REFUSED = {
  "right-take refused": "people.refused_last",
  "person-forget refused": "people.refused_last",
  "person-rename refused": "people.refused_rename",
  "person-rename bad-input": "people.refused_name",
  "right-give bad-input": "people.refused_right",
  "right-give refused": "people.refused_give",
  "phone-code refused": "people.refused_code",
  "own-phone-code refused": "people.refused_code",
  "own-password wrong-secret": "people.refused_old",
  "own-password bad-input": "people.refused_new",
  "own-password too-soon": "people.refused_soon",
};

function refusal(verb, problem) {
  if (problem.code === "not-found") return t("people.refused_gone");
  const key = REFUSED[`${verb} ${problem.code}`];
  return key ? t(key) : inWords(problem);
}

// Ask, and show the page as it is then; in words where it was refused.
async function change(verb, args, undo = null) {
  said.textContent = t("people.working");
  const answer = await order(verb, args);
  if (!answer.ok) {
    said.textContent = refusal(verb, answer.problem);
    said.scrollIntoView({ block: "center" });
    return null;
  }
  if (undo) sessionStorage.setItem(KEPT, JSON.stringify({ ...undo, at: Date.now() }));
  else sessionStorage.removeItem(KEPT);
  return answer.data;
}

async function changeAndShow(verb, args, undo = null) {
  if (await change(verb, args, undo)) location.reload();
}

function showUndo() {
  const kept = JSON.parse(sessionStorage.getItem(KEPT) ?? "null");
  if (!kept || Date.now() - kept.at > UNDO_FOR_MS) return;
  const place = document.getElementById("undo");
  place.hidden = false;
  place.firstElementChild.textContent = kept.says;
  place.firstElementChild.addEventListener("click", () => changeAndShow(kept.verb, kept.args));
  setTimeout(() => { place.hidden = true; }, UNDO_FOR_MS - (Date.now() - kept.at));
}

let ticking = null;
async function showCode(verb, args) {
  const row = await change(verb, args);
  if (!row) return;
  said.textContent = "";
  const ends = performance.now() + row.ends_s * 1000;
  pairing.querySelector("h2").textContent = t("people.pairing_title", { name: row.name });
  pairing.querySelector("img").src = `/qr.svg?to=${encodeURIComponent(row.path)}`;
  pairing.querySelector(".letters").textContent = `${location.origin}/pair  ${row.code}`;
  pairing.hidden = false;
  pairing.focus({ preventScroll: true });
  pairing.scrollIntoView({ block: "start" });
  const left = pairing.querySelector(".left");
  clearInterval(ticking);
  ticking = setInterval(() => {
    const seconds = (ends - performance.now()) / 1000;
    left.textContent = seconds > 0 ? t("people.code_left", { clock: clock(seconds) }) : t("people.code_over");
    if (seconds <= 0) pairing.querySelector("img").removeAttribute("src");
  }, 500);
}

pairing.querySelector("button").addEventListener("click", () => location.reload());

const presses = {
  take: ({ person, name, right, until }) =>
    changeAndShow("right-take", { person, right }, { verb: "right-give", args: { person, right, until }, says: t("people.undo_take", { name }) }),
  end: ({ phone }) => changeAndShow("phone-end", { phone }),
  "own-end": async ({ phone, mine }) => {
    if (await change("own-phone-end", { phone })) mine ? location.assign("/") : location.reload();
  },
  "own-code": () => showCode("own-phone-code", {}),
  code: ({ person }) => showCode("phone-code", { person }),
  forget: ({ person }) => changeAndShow("person-forget", { person }),
  "end-all": ({ person }) => changeAndShow("phone-end-all", { person }),
};
for (const element of document.querySelectorAll("[data-do]")) {
  const event = element.localName === "fc-hold" ? "held" : "click";
  element.addEventListener(event, () => presses[element.dataset.do](element.dataset));
}

// The end of a day as this phone's time zone has it, whatever the clock of the base station counts in.
function endOf(day) {
  const [year, month, date] = day.split("-").map(Number);
  return new Date(year, month - 1, date + 1).toISOString().replace(".000", "");
}

for (const form of document.querySelectorAll("[data-rename]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const { rename: person, name: before } = form.dataset;
    const name = form.elements.name.value;
    changeAndShow("person-rename", { person, name }, { verb: "person-rename", args: { person, name: before }, says: t("people.undo_rename", { name: before }) });
  });
}

const give = document.getElementById("give");
give?.elements.day?.addEventListener("input", () => { give.elements.until.value = "day"; });
give?.addEventListener("submit", (event) => {
  event.preventDefault();
  const given = Object.fromEntries(new FormData(give));
  if (given.until === "day" && !given.day) {
    give.elements.day.focus();
    return;
  }
  const until = given.until === "day" ? endOf(given.day) : given.until;
  const { person, right } = given;
  changeAndShow("right-give", { person, right, until }, { verb: "right-take", args: { person, right }, says: t("people.undo_give", { name: person }) });
});

document.getElementById("password")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const given = [...new FormData(event.target)].filter(([, value]) => value !== "");
  const done = await change("own-password", Object.fromEntries(given));
  if (done) location.reload();
});

showUndo();
