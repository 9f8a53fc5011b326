// The sentences of this page, as the server put them into it.
const texts = JSON.parse(document.getElementById("texts").textContent);

export function t(key, values = {}) {
  const text = (values.n === 1 && texts[`${key}_one`]) || texts[key]; // of one alone, where there is such a form
  if (text === undefined) throw new Error(`there is no sentence ${key} on this page`);
  return text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
}

export function has(key) {
  return key in texts;
}

// An age in words: 7 s, 3 min, 2 h.
export function span(seconds) {
  if (seconds < 100) return t("base.seconds", { n: Math.round(seconds) });
  if (seconds < 5400) return t("base.minutes", { n: Math.round(seconds / 60) });
  return t("base.hours", { n: Math.round(seconds / 3600) });
}

// A moment of the wall's clock: the time today, with the day otherwise.
export function when(label) {
  const at = new Date(label);
  const today = at.toDateString() === new Date().toDateString();
  return at.toLocaleString(document.documentElement.lang, { ...(today ? {} : { dateStyle: "medium" }), timeStyle: "short", hourCycle: "h23" });
}

// Seconds as a clock on a slope shows them: 0:07, 12:30.
export function clock(seconds) {
  if (seconds === null || seconds === undefined) return "–";
  const whole = seconds < 0 ? Math.ceil(-seconds) : Math.floor(seconds);
  return `${seconds < 0 ? "−" : ""}${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
