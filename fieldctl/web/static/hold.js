// <fc-hold ms="700">: a press held that long, by thumb or key, sends "held"; a shorter one does nothing.
const KEYS = new Set([" ", "Enter"]);

class Hold extends HTMLElement {
  connectedCallback() {
    this.setAttribute("role", "button");
    if (!this.hasAttribute("tabindex")) this.tabIndex = 0;
    this.ms = Number(this.getAttribute("ms") ?? 700);
    this.style.setProperty("--hold-ms", `${this.ms}ms`);
    this.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      this.setPointerCapture(event.pointerId);
      this.begin();
    });
    this.addEventListener("pointermove", (event) => this.began && !this.holds(event) && this.end());
    for (const name of ["pointerup", "pointercancel", "lostpointercapture", "blur"]) {
      this.addEventListener(name, () => this.end());
    }
    this.addEventListener("keydown", (event) => {
      if (!KEYS.has(event.key)) return;
      event.preventDefault();
      if (!event.repeat) this.begin();
    });
    this.addEventListener("keyup", (event) => KEYS.has(event.key) && this.end());
    this.addEventListener("contextmenu", (event) => event.preventDefault());
  }

  // By where it was when the press began: what is told above it may move it from under a thumb that keeps still.
  holds({ clientX, clientY }) {
    const box = this.box;
    return clientX >= box.left && clientX <= box.right && clientY >= box.top && clientY <= box.bottom;
  }

  begin() {
    if (this.began || this.getAttribute("aria-disabled") === "true") return;
    this.began = true;
    this.box = this.getBoundingClientRect();
    this.classList.add("holding");
    this.timer = setTimeout(() => {
      this.end();
      navigator.vibrate?.(60);
      this.dispatchEvent(new CustomEvent("held", { bubbles: true }));
    }, this.ms);
  }

  end() {
    clearTimeout(this.timer);
    this.began = false;
    this.classList.remove("holding");
  }
}
customElements.define("fc-hold", Hold);
