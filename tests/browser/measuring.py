"""Measured in the browser: contrast by the WCAG formula on computed styles, sizes and gaps of live controls, axe-core.

Contrast: WCAG 2.2, "relative luminance" and "contrast ratio", wanted by success criterion 1.4.6 (7:1; it would allow
4.5:1 for large text, which we do not use) and 1.4.3 (4.5:1). The whole standard was not at hand; the formula is common
knowledge (second-hand), and its worked values are checked in test_measured.py.
"""

from __future__ import annotations

import json
import re
from itertools import combinations
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

AXE = Path(__file__).parent / "axe" / "node_modules" / "axe-core" / "axe.min.js"
BAD = ("serious", "critical")

Colour = tuple[float, float, float, float]
"""Red, green, blue of 255, alpha of 1."""

# Every text that is shown: its own colour, what lies behind it from the top down, and how much of it shows through.
TEXTS = r"""
() => {
  const found = [];
  const canvas = (() => {
    const probe = document.createElement("i");
    probe.style.background = "Canvas";
    document.body.append(probe);
    const colour = getComputedStyle(probe).backgroundColor;
    probe.remove();
    return colour;
  })();
  const shown = (element) => element.checkVisibility({ visibilityProperty: true, opacityProperty: true });
  const behind = (element) => {
    const grounds = [];
    for (let one = element; one; one = one.parentElement) grounds.push(getComputedStyle(one).backgroundColor);
    return [...grounds, canvas];
  };
  const opacity = (element) => {
    let share = 1;
    for (let one = element; one; one = one.parentElement) share *= Number(getComputedStyle(one).opacity);
    return share;
  };
  // In a drawing each earlier filled shape whose box meets the letters may lie behind them: every one has to do, down
  // to a rectangle that lies behind all of them.
  const drawn = (text, box) => {
    const picture = text.ownerSVGElement;
    const meets = (b) => b.left < box.right && b.right > box.left && b.top < box.bottom && b.bottom > box.top;
    return [...picture.querySelectorAll("rect, polygon, path, circle, ellipse")]
      .filter((shape) => shape.compareDocumentPosition(text) & Node.DOCUMENT_POSITION_FOLLOWING)
      .filter((shape) => shape.closest("symbol, defs") === null && meets(shape.getBoundingClientRect()))
      .map((shape) => ({ fill: getComputedStyle(shape).fill, whole: shape.localName === "rect" && holds(shape, box) }))
      .filter(({ fill }) => fill !== "none");
  };
  const holds = (shape, box) => {
    const b = shape.getBoundingClientRect();
    return b.left <= box.left && b.right >= box.right && b.top <= box.top && b.bottom >= box.bottom;
  };
  const inDrawing = (text, box, base) => {
    const shapes = drawn(text, box);
    const from = shapes.findLastIndex(({ whole }) => whole);
    const grounds = shapes.slice(Math.max(from, 0)).map(({ fill }) => [fill, ...base]);
    return from < 0 ? [[...base], ...grounds] : grounds;
  };
  const note = (element, words, colour, box) => {
    const inPicture = element instanceof SVGElement;
    const base = behind(inPicture ? element.ownerSVGElement : element);
    const grounds = inPicture ? inDrawing(element, box, base) : [base];
    const style = getComputedStyle(element);
    found.push({ words: words.trim().slice(0, 60), of: element.tagName + "." + (element.getAttribute("class") ?? ""),
      colour, grounds, opacity: opacity(element), px: parseFloat(style.fontSize), weight: Number(style.fontWeight) });
  };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const element = node.parentElement;
    if (!node.data.trim() || ["SCRIPT", "STYLE", "NOSCRIPT"].includes(element.tagName) || !shown(element)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const box = range.getBoundingClientRect();
    if (box.width === 0) continue;
    const style = getComputedStyle(element);
    note(element, node.data, element instanceof SVGElement ? style.fill : style.color, box);
  }
  for (const element of document.body.querySelectorAll("*")) {
    if (!shown(element)) continue;
    for (const which of ["::before", "::after"]) {
      const style = getComputedStyle(element, which);
      const words = /^"(.*?)"/.exec(style.content)?.[1] ?? "";
      if (words.trim()) note(element, which + words, style.color, null);
    }
    if (element.matches("input:not([type=radio], [type=checkbox], [type=hidden]), textarea, select"))
      note(element, "value of " + (element.id || element.name), getComputedStyle(element).color, null);
  }
  return found;
}
"""

# Whatever can be pressed and does something in the field: not the row of pages, the footer, a form that is filled in.
CONTROLS = r"""
() => [...document.querySelectorAll("button, fc-hold, summary, a.big, [role=button]")]
  .filter((one) => one.checkVisibility({ visibilityProperty: true }) && !one.closest("nav, footer"))
  .map((one) => {
    const { left, top, right, bottom, width, height } = one.getBoundingClientRect();
    const places = { bar: "#bar", ask: "#ask", list: "#entries", top: "fc-alloff-state" };
    return { what: one.id || one.dataset.do || one.dataset.part || one.textContent.trim(), tag: one.localName,
      where: Object.keys(places).find((name) => one.closest(places[name])) ?? "main",
      live: !one.disabled && one.getAttribute("aria-disabled") !== "true", left, top, right, bottom, width, height };
  })
"""


def luminance(colour: tuple[float, ...]) -> float:
    """Relative luminance of sRGB (of 255), as WCAG 2.2 defines it."""
    parts = [c / 255 for c in colour[:3]]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def ratio(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    """Contrast ratio of two opaque colours, 1 to 21."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def parsed(text: str) -> Colour:
    """A computed colour; one that is written otherwise is an error, never taken for anything."""
    found = re.fullmatch(r"rgba?\(([\d.]+), ([\d.]+), ([\d.]+)(?:, ([\d.]+))?\)", text)
    assert found is not None, f"this colour is not understood: {text}"
    red, green, blue, alpha = found.groups()
    return float(red), float(green), float(blue), 1.0 if alpha is None else float(alpha)


def over(top: Colour, under: Colour) -> Colour:
    """One colour laid over an opaque one."""
    a = top[3]
    red, green, blue = (a * t + (1 - a) * u for t, u in zip(top[:3], under[:3], strict=True))
    return red, green, blue, 1.0


def flat(layers: list[str]) -> Colour:
    """What is seen of layers from the top down; the last one is opaque."""
    *tops, made = [parsed(layer) for layer in layers]
    for top in reversed(tops):
        made = over(top, made)
    return made


def contrasts(page: Page) -> list[tuple[float, str]]:
    """Contrast of every text that is shown against each ground that it may lie on, the worst first."""
    rows = []
    for text in page.evaluate(TEXTS):
        for layers in text["grounds"]:
            ground = flat(layers)
            red, green, blue, alpha = parsed(text["colour"])
            ink = over((red, green, blue, alpha * text["opacity"]), ground)
            rows.append((ratio(ink, ground), f"{text['of']} {text['words']!r} {text['colour']} on {ground[:3]}"))
    return sorted(rows)


def controls(page: Page) -> list[dict[str, Any]]:
    """Every control that is shown, with its box in CSS pixels."""
    found: list[dict[str, Any]] = page.evaluate(CONTROLS)
    return found


def gap(one: dict[str, Any], other: dict[str, Any]) -> float:
    """The way between two boxes along the axis that parts them; negative where they lie over each other."""
    across = max(one["left"] - other["right"], other["left"] - one["right"])
    down = max(one["top"] - other["bottom"], other["top"] - one["bottom"])
    return float(max(across, down))


def narrowest(rows: list[dict[str, Any]]) -> tuple[float, str]:
    """The smallest gap between any two of these."""
    gaps = [(round(gap(a, b), 2), f"{a['what']} / {b['what']}") for a, b in combinations(rows, 2)]
    return min(gaps, default=(float("inf"), ""))


def over_the_edge(page: Page) -> int:
    """CSS pixels that the page is wider than its screen."""
    return int(page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))


def axe_findings(page: Page) -> list[str]:
    """What axe-core calls serious or critical here, with where it is."""
    assert AXE.exists(), f"axe-core is missing: npm install --prefix {AXE.parents[2].name} (tests/run does it)"
    if not page.evaluate("typeof window.axe === 'object'"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    found = json.loads(page.evaluate("axe.run(document, {resultTypes: ['violations']}).then(JSON.stringify)"))
    return [
        f"{one['impact']} {one['id']}: {node['target']} {node['html'][:120]}"
        for one in found["violations"]
        if one["impact"] in BAD
        for node in one["nodes"]
    ]
