// The time line: one band for each burial, signal as bars, touches, calls and splits as shapes, 10 and 15 minutes as marks.
import { s } from "./dom.js";
import { clock, t } from "./words.js";

const WIDTH = 340;
const LEFT = 66;
const BAND = 42;
const HEAD = 22;
const WORD = 44; // as wide as "15 min" becomes in any of the languages
const MARKS_S = [600, 900]; // the 2024 study's 10 minutes beside the 15 of common practice

export function bands(row, now_s, chosen) {
  const span = Math.max(row.limit_s, 900, now_s ?? 0) * 1.02;
  const x = (seconds) => LEFT + ((WIDTH - LEFT - 4) * Math.max(0, Math.min(seconds, span))) / span;
  const height = HEAD + row.burials.length * BAND + 4;
  const picture = s("svg", { class: "bands", viewBox: `0 0 ${WIDTH} ${height}`, "aria-hidden": "true" });
  row.burials.forEach((burial, n) => picture.append(band(burial, HEAD + n * BAND, x, now_s, burial.burial === chosen)));
  MARKS_S.forEach((mark, n) => {
    const after = n > 0 && x(mark) + WORD < WIDTH; // with a long limit both lie near: one word before its mark, one after
    picture.append(
      s("line", { class: "mark", x1: x(mark), x2: x(mark), y1: HEAD - 6, y2: height }),
      s("text", { class: "mark-word", x: x(mark) + (after ? -3 : 3), y: 12, "text-anchor": after ? "start" : "end" }, t("base.minutes", { n: mark / 60 })),
    );
  });
  if (now_s !== null) picture.append(s("line", { class: "now", x1: x(now_s), x2: x(now_s), y1: HEAD - 4, y2: height }));
  return picture;
}

function band(burial, top, x, now_s, chosen) {
  const middle = top + BAND / 2;
  const group = s("g", { class: `band${chosen ? " chosen" : ""}` });
  group.append(
    s("rect", { class: "ground", x: 1, y: top + 2, width: WIDTH - 2, height: BAND - 4 }),
    s("text", { class: "burial", x: 6, y: middle }, burial.burial),
    s("text", { class: "phase", x: 6, y: middle + 14 }, t(`exercise.short_${burial.phase}`)),
  );
  for (const { from_s, until_s } of burial.sent) {
    const end = until_s ?? now_s ?? from_s;
    group.append(s("rect", { class: "signal", x: x(from_s), y: middle - 5, width: Math.max(1, x(end) - x(from_s)), height: 10 }));
  }
  for (const split of burial.splits) group.append(s("line", { class: "split", x1: x(split.at_s), x2: x(split.at_s), y1: middle - 13, y2: middle + 13 }));
  for (const hit of burial.hits) group.append(s("path", { class: "hit", d: `M${x(hit.at_s)} ${middle - 3}l7 -13h-14Z` }));
  for (const call of burial.calls) group.append(s("circle", { class: "call", cx: x(call.at_s), cy: middle + 12, r: 6 }));
  if (burial.find) group.append(s("path", { class: "find", d: `M${x(burial.find.at_s) - 7} ${middle}l5 6 9 -12` }));
  return group;
}

// The same for whoever cannot see the picture.
export function inWords(burial) {
  const said = [burial.burial, t(`exercise.phase_${burial.phase}`)];
  for (const hit of burial.hits) said.push(t("exercise.hit_at", { time: clock(hit.at_s) }));
  for (const call of burial.calls) said.push(t("exercise.call_at", { time: clock(call.at_s) }));
  for (const split of burial.splits) said.push(`${splitWord(split.name)} ${clock(split.at_s)}`);
  if (burial.find) said.push(t("exercise.found_at", { time: clock(burial.find.at_s) }));
  return said.join(", ");
}

const SPLITS = new Set(["signal", "coarse", "fine", "airway"]);
export const splitWord = (name) => (SPLITS.has(name) ? t(`exercise.split_${name}`) : name);
