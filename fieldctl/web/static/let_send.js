// Letting a target send so that a receiver finds it: under a grant of its own, only while the field is closed.
import { changes, isLive, rows } from "./live.js";
import { inWords, order } from "./orders.js";
import { t } from "./words.js";

const asked = new Set(); // targets that this phone let send: they may be ended before they say that they send

const closed = () => rows.get("field")?.open === false;

// Whether a target itself says that it sends while the field is closed.
export const saysSo = (target) => closed() && rows.get(`target:${target}`)?.state === "sending";

// Whether there may be something to end.
export const mayEnd = (target) => asked.has(target) || saysSo(target);

// The order, and what became of it in the reader's sight.
export async function letSend(target, said) {
  said.textContent = t("base.sent");
  const answer = await order("target-locate", { target, send: true });
  if (answer.ok) asked.add(target);
  said.textContent = answer.ok ? t("carry.let_send_ordered", { minutes: Math.round(answer.data.ends_in_s / 60) }) : inWords(answer.problem);
}

export async function endSend(target, said) {
  said.textContent = t("base.sent");
  const answer = await order("target-locate-end", { target });
  if (answer.ok) asked.delete(target);
  said.textContent = answer.ok ? t("base.taken") : inWords(answer.problem);
}

function paint(place) {
  const { letSend: target } = place.dataset;
  const sends = saysSo(target);
  if (sends) place.querySelector(".said").textContent = ""; // what was ordered has come about
  const open = isLive() && !closed();
  const refused = open ? t("carry.let_send_closed") : "";
  place.querySelector("[data-part=sends]").textContent = sends ? t("carry.let_send_sends") : refused;
  place.querySelector("[data-let=send]").disabled = open;
  place.querySelector("[data-let=end]").hidden = !mayEnd(target);
}

const places = [...document.querySelectorAll("[data-let-send]")];
for (const place of places) {
  const said = place.querySelector(".said");
  place.querySelector("[data-let=send]").addEventListener("click", () => letSend(place.dataset.letSend, said));
  place.querySelector("[data-let=end]").addEventListener("click", () => endSend(place.dataset.letSend, said));
}
for (const what of ["rows", "live"]) changes.addEventListener(what, () => places.forEach(paint));
places.forEach(paint);
