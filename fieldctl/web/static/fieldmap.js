// The field as a map and as a list: each target by shape, word and colour, with how old each value is.
import { h, s, shape, show } from "./dom.js";
import { age, changes, hostNow, rows, targets } from "./live.js";
import { span, t, when } from "./words.js";

const map = document.getElementById("map");
const list = document.getElementById("list");
const summary = document.getElementById("summary");
const manual = document.getElementById("manual");
const steersNobody = document.getElementById("steers-nobody");
const ground = JSON.parse(map.dataset.ground);
const titles = new Map(ground.zones.map((zone) => [zone.name, zone.title]));
const ORDER = ["sending", "faulty", "barred", "not-heard", "weak", "found", "quiet", "asleep"];

const ago = (seconds) => (seconds === null ? t("base.never") : t("base.ago", { age: span(seconds) }));

function drawMap(all) {
  const placed = all.filter((row) => row.x_m !== null);
  const points = [...placed.map((row) => [row.x_m, row.y_m]), ...ground.zones.flatMap((zone) => zone.outline_m), ...ground.no_go.flat(), ...ground.stakes.map((one) => [one.x_m, one.y_m])];
  if (!points.length) return [];
  const [xs, ys] = [points.map((p) => p[0]), points.map((p) => p[1])];
  const [left, right, low, high] = [Math.min(...xs) - 8, Math.max(...xs) + 8, Math.min(...ys) - 8, Math.max(...ys) + 8];
  const scale = 340 / Math.max(right - left, 1);
  const height = Math.max(120, (high - low) * scale);
  const x = (m) => (m - left) * scale;
  const y = (m) => (high - m) * scale;
  const picture = s("svg", { class: "map", viewBox: `0 0 340 ${height}`, role: "img", "aria-label": t("field.map") });
  for (const zone of ground.zones) {
    if (!zone.outline_m.length) continue;
    const top = Math.max(...zone.outline_m.map((p) => p[1]));
    const side = Math.min(...zone.outline_m.map((p) => p[0]));
    picture.append(
      s("polygon", { class: "zone", points: zone.outline_m.map(([px, py]) => `${x(px)},${y(py)}`).join(" ") }),
      s("text", { x: x(side) + 4, y: y(top) + 13 }, zone.title),
    );
  }
  for (const line of ground.no_go) picture.append(s("polygon", { class: "no-go", points: line.map(([px, py]) => `${x(px)},${y(py)}`).join(" ") }));
  for (const stake of ground.stakes) {
    picture.append(s("path", { class: "stake", d: `M${x(stake.x_m)} ${y(stake.y_m) - 7}v14m-7 -7h14` }), s("text", { x: x(stake.x_m) + 9, y: y(stake.y_m) + 12 }, stake.name));
  }
  for (const row of placed) {
    picture.append(s("g", { class: `is-${row.state}` },
      s("use", { href: `#s-${row.state}`, x: x(row.x_m) - 9, y: y(row.y_m) - 9, width: 18, height: 18 }),
      s("text", { x: x(row.x_m), y: y(row.y_m) + 21, "text-anchor": "middle" }, row.name.replace(/^.*\s(?=\S+$)/, ""))));
  }
  return ground.no_go.length ? [picture, h("p", { class: "more" }, t("field.no_go"))] : [picture];
}

let mapped = "";
function paint() {
  const field = rows.get("field");
  if (!field) return;
  steersNobody.hidden = field.steers;
  const all = targets().sort((a, b) => ORDER.indexOf(a.state) - ORDER.indexOf(b.state) || a.name.localeCompare(b.name, undefined, { numeric: true }));
  const fresh = Object.entries(field.fresh_left ?? {}).map(([zone, n]) => t("field.fresh", { zone: titles.get(zone) ?? zone, n })).join(" · ");
  const links = field.links.filter((one) => !one.up).map((one) => t("field.link_down", { link: one.name })).join(" ");
  summary.textContent = [field.open ? t("field.open", { name: field.in_charge }) : t("field.closed"), fresh, links].filter(Boolean).join(" · ");
  const key = JSON.stringify(all.map((row) => [row.target, row.state, row.name]));
  if (key !== mapped) {
    mapped = key;
    map.replaceChildren(...drawMap(all));
  }
  show(list, all.map((row) => h("li", { class: "row" },
    h("strong", {}, row.name), h("span", { class: "states" }, [row.state, ...row.also].map((word) => h("span", { class: `state is-${word}` }, shape(word), t(`base.state_${word}`)))),
    h("span", { class: "more" }, details(row)))));
  show(manual, field.manual.map((one) => h("li", {}, t("field.manual", { unit: one.unit, place: one.place }))));
}

// Where it lies, its zone by the name that people know.
function place(row) {
  const begins = `${row.zone}, `;
  return row.zone !== null && row.place.startsWith(begins) ? `${titles.get(row.zone)}, ${row.place.slice(begins.length)}` : row.place;
}

function details(row) {
  const left = row.may_send_until_us === null ? null : Math.max(0, Math.ceil((row.may_send_until_us - hostNow()) / 1e6));
  const odd = Object.values(row.odd);
  return [
    place(row),
    ...row.states.filter((one) => one.since).map((one) => t(`field.since_${one.state.replace(" ", "-")}`, { when: when(one.since) })),
    t("field.heard", { ago: ago(age(row.target)) }),
    left ? t("field.may_send", { seconds: left }) : null,
    row.volts_load === null ? null : t("field.volts", { volts: row.volts_load.toFixed(2), ago: ago((hostNow() - row.reported_us) / 1e6) }),
    row.celsius === null ? null : `${row.celsius} °C`,
    row.zone === null ? null : row.fresh ? t("field.is_fresh") : t("field.is_struck", { n: row.struck }), // a post has no surface
    ...odd,
  ].filter(Boolean).join(" · ");
}

changes.addEventListener("beat", paint);
