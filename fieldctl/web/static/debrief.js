// The debrief's page: a link for the group, as a code that their phones read.
import "./base.js";
import { h } from "./dom.js";
import { inWords, order } from "./orders.js";
import { t } from "./words.js";

const group = document.getElementById("group");
group?.querySelector("button").addEventListener("click", async () => {
  const hours = Number(group.querySelector("input:checked").value);
  const answer = await order("exercise-link", { exercise: group.dataset.exercise, hours });
  const said = group.querySelector(".said");
  if (!answer.ok) {
    said.textContent = inWords(answer.problem);
    return;
  }
  const { path, until } = answer.data;
  said.textContent = t("debrief.group_until", { time: new Date(until).toLocaleString(document.documentElement.lang) });
  group.querySelector(".code").replaceChildren(
    h("img", { class: "qr", src: `/qr.svg?to=${encodeURIComponent(path)}`, alt: t("debrief.group_code") }),
    h("p", {}, h("a", { href: path }, location.origin + path)),
  );
});
