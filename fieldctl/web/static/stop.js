// <fc-stop>: on every page one tap stops what goes on; for 10 s another takes it back. Of several, each has its name.
import { h, show } from "./dom.js";
import { changes, exercises, hostNow, rights, rows } from "./live.js";
import { inWords, order } from "./orders.js";
import { t } from "./words.js";

const going = new Set(["running", "interrupted"]);
const own = document.getElementById("exercise")?.dataset.exercise; // its page has a Stop of its own

class Stop extends HTMLElement {
  connectedCallback() {
    this.said = h("p", { id: "stop-said", role: "alert" });
    this.which = h("div", { class: "which", hidden: true });
    this.back = h("button", { type: "button", class: "big plain back", hidden: true });
    this.button = h("button", { type: "button", class: "big plain stop", hidden: true });
    this.append(this.said, this.which, this.back, this.button);
    this.sent = null; // the exercise whose stop is on its way
    this.failed = null; // the one whose stop had no good answer: what was said of it holds as long as it goes on
    this.button.addEventListener("click", () => this.press());
    this.which.addEventListener("click", ({ target }) => {
      const { exercise } = target.closest("button")?.dataset ?? {};
      if (exercise) this.stop(exercise);
    });
    this.back.addEventListener("click", async () => {
      const answer = await order("exercise-reopen", { exercise: this.back.dataset.exercise });
      this.said.textContent = answer.ok ? "" : inWords(answer.problem);
    });
    for (const what of ["rows", "beat"]) changes.addEventListener(what, () => this.show());
  }

  running() {
    const all = exercises().filter((row) => going.has(row.state));
    return all.some((row) => row.exercise === own) ? [] : all;
  }

  press() {
    const all = this.running();
    if (all.length === 1) this.stop(all[0].exercise);
    else {
      this.which.hidden = !this.which.hidden;
      this.show();
    }
  }

  async stop(exercise) {
    this.sent = exercise;
    this.which.hidden = true;
    this.said.textContent = "";
    this.show();
    const answer = await order("exercise-stop", { exercise });
    this.sent = null;
    this.failed = answer.ok ? null : exercise;
    this.said.textContent = answer.ok ? "" : inWords(answer.problem);
    this.show();
  }

  show() {
    const may = rights.includes("instruct");
    const all = may ? this.running() : [];
    this.button.hidden = all.length === 0;
    if (all.length < 2) this.which.hidden = true;
    if (this.failed && !all.some((row) => row.exercise === this.failed)) {
      this.failed = null;
      this.said.textContent = "";
    }
    const words = all.length === 1 ? t("base.stop_one", { exercise: all[0].exercise }) : t("base.stop_which", { n: all.length });
    this.button.textContent = this.sent ? t("base.sent") : words;
    this.button.setAttribute("aria-expanded", String(!this.which.hidden));
    show(this.which, all.map((row) => h("button", { type: "button", class: "big plain", "data-exercise": row.exercise },
      [t("base.stop_one", { exercise: row.exercise }), row.title, row.searchers?.join(", ")].filter(Boolean).join(" · "))));
    this.showBack(may);
  }

  // The one that was stopped last, wherever it was pressed; an exercise's page offers its own by itself and has no room for
  // another's. Under all off nothing goes on again.
  showBack(may) {
    const left = (row) => (row.take_back_until_us == null ? 0 : (row.take_back_until_us - hostNow()) / 1e6);
    const stopped = own ? [] : exercises().filter((row) => !going.has(row.state) && left(row) > 0);
    const last = stopped.sort((a, b) => left(b) - left(a))[0];
    this.back.hidden = !(may && last) || rows.get("field")?.all_off.in_force;
    if (this.back.hidden) return;
    this.back.dataset.exercise = last.exercise;
    this.back.textContent = t("base.stop_back", { exercise: last.exercise, seconds: Math.ceil(left(last)) });
  }
}
customElements.define("fc-stop", Stop);
