// What every page has: whether it is live, all off, and who has not confirmed it.
import "./hold.js";
import { h, show } from "./dom.js";
import { changes, hostNow, isLive, lastHeard, rights, rows } from "./live.js";
import { inWords, order } from "./orders.js";
import "./stop.js";
import { span, t } from "./words.js";

class Live extends HTMLElement {
  connectedCallback() {
    changes.addEventListener("live", () => this.show());
    changes.addEventListener("beat", () => this.show());
    this.began = performance.now();
  }

  show() {
    const at = lastHeard();
    this.classList.toggle("is-live", isLive());
    if (isLive()) this.textContent = t("base.live");
    else if (at) this.textContent = t("base.not_live", { time: at.toLocaleTimeString(document.documentElement.lang) });
    else if (performance.now() - this.began > 3000) this.textContent = t("base.not_live_never");
  }
}
customElements.define("fc-live", Live);

class AllOffState extends HTMLElement {
  connectedCallback() {
    this.list = h("div", {});
    this.release = h("div", {});
    this.said = h("p", { class: "said", role: "status" });
    this.list.append(...this.childNodes); // as the page came, until it is known better
    this.append(this.list, this.release);
    changes.addEventListener("beat", () => this.show());
  }

  show() {
    const field = rows.get("field");
    if (!field) return;
    const off = field.all_off;
    this.hidden = !(off.in_force || field.failed);
    if (this.hidden) return;
    show(this.list, field.failed ? h("p", { class: "failed" }, t("base.failed", { why: field.failed })) : null, off.in_force ? this.offRows(field) : null);
    this.showRelease(off, rights.includes("in-charge"));
  }

  offRows(field) {
    const off = field.all_off;
    const first = [...off.unconfirmed].sort((a, b) => (b.may_send_until_us ?? 0) - (a.may_send_until_us ?? 0)); // who may send longest
    const waiting = first.map((row) => {
      const left = row.may_send_until_us === null ? 0 : Math.max(0, (row.may_send_until_us - hostNow()) / 1e6);
      const heard = row.heard_us === null ? t("base.off_never_heard") : t("base.off_heard", { age: t("base.ago", { age: span((hostNow() - row.heard_us) / 1e6) }) });
      const says = row.says === "its gate reads on" ? t("base.off_gate_on") : t("base.off_not_confirmed");
      const ended = row.may_send_until_us === null ? null : t("base.off_may_not_send");
      const until = left > 0 ? t("base.off_may_send", { seconds: Math.ceil(left) }) : ended;
      return h("li", {}, h("strong", {}, row.name), ` (${row.place}): ${[says, heard, until].filter(Boolean).join(", ")}`);
    });
    return [
      h("h2", {}, t("base.off_in_force")),
      h("p", {}, t("base.off_confirmed", { n: off.confirmed.length })),
      waiting.length ? h("p", {}, t("base.off_waiting", { n: waiting.length })) : h("p", {}, t("base.off_none_waiting")),
      h("ul", {}, waiting),
      field.manual.length ? [h("p", {}, t("base.off_manual")), h("ul", {}, field.manual.map((m) => h("li", {}, `${m.unit}: ${m.place}`)))] : null,
    ];
  }

  // What is held releases the order that was shown when it was made: a newer one wants a reason and a hold of its own.
  showRelease({ in_force, epoch }, may) {
    this.release.hidden = !(may && in_force);
    if (this.release.hidden || this.release.dataset.epoch === String(epoch)) return;
    this.release.dataset.epoch = epoch;
    const reasons = t("base.off_release_reasons").split("|");
    const hold = h("fc-hold", { class: "big", ms: 3000 }, t("base.off_release_hold"));
    const choice = h("fieldset", { class: "choices" }, h("legend", {}, t("base.off_release_why")),
      reasons.map((reason) => h("label", {}, h("input", { type: "radio", name: "release-why", value: reason }), reason)));
    hold.addEventListener("held", async () => {
      const reason = choice.querySelector("input:checked")?.value;
      if (!reason) {
        this.said.textContent = t("base.off_release_why");
        return;
      }
      const answer = await order("all-off-release", { reason, epoch });
      this.said.textContent = answer.ok ? "" : inWords(answer.problem);
    });
    this.release.replaceChildren(choice, hold, h("p", {}, t("base.off_release_nothing")), this.said);
  }
}
customElements.define("fc-alloff-state", AllOffState);

const button = document.getElementById("all-off");
const allOffSaid = document.getElementById("all-off-said");
button?.form.addEventListener("submit", async (event) => {
  event.preventDefault(); // without scripts the form does the same
  allOffSaid.textContent = t("base.all_off_sent");
  button.classList.add("pressed");
  const answer = await order("all-off");
  navigator.vibrate?.([80, 60, 80]);
  allOffSaid.textContent = answer.ok ? "" : t("base.all_off_failed");
  button.classList.remove("pressed");
});
