"""The pages in a real Chromium, with `fieldctl serve` by its command and 32 targets on one pseudo-terminal bus.

strike     from the simulated pad (the mountain's process, CLOCK_MONOTONIC_RAW) to the painted time line of a phone:
           four of the targets play in an exercise; a probe touches one of them at a moment that nothing knows ahead.
           Painted is a message after the first animation frame that follows the change of the page.
first      the start page on an empty cache at 1 Mbit/s and 100 ms: until the field's state and all off stand there in
           their style. The browser's own emulation delays every request, but no handshake: 100 ms are added for that.
size       every static file and the largest page, as they go over the air (compressed bodies)

The page's clock is laid beside CLOCK_MONOTONIC_RAW by asking it between two readings, best of many, before and after;
what is left open is printed, and added to every figure.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, Page, expect, sync_playwright

from sims.ptybus import raw_us

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))
from conftest import ARGS, CHROMIUM, Phones
from hill import Hill, a_hill
from thumbs import running, start

STATIC = Path(__file__).parents[2] / "fieldctl" / "web" / "static"
PLAYING = [f"5ee000{n:02x}" for n in range(1, 5)]
STRIKES = 44
LOADS = 5
DRILL = 'title = "Four burials (invented)"\nlimit_min = 15\n' + "".join(
    f'[[burial]]\nname = "{name}"\nsignal = "start"\nfind = "call"\ntarget = "{target}"\n'
    for name, target in zip("ABCD", PLAYING, strict=True)
)
SLOW = {"offline": False, "latency": 100, "downloadThroughput": 125_000, "uploadThroughput": 125_000}  # ms, bytes a s
HANDSHAKE_S = 0.1
Row = tuple[str, float, float, str]
"""What, figure, limit, unit."""

# Notes when the time line, or what is put before a person, tells of another strike: after it has been painted.
WATCH = r"""
() => {
  const told = () => document.querySelectorAll(".bands .hit").length + "/" + (document.querySelector("#ask p")?.textContent ?? "");
  const seen = [];
  let last = told();
  let waiting = null;
  const painted = () => {
    seen.push(performance.now());
    waiting?.();
  };
  new MutationObserver(() => {
    if (told() === last) return;
    last = told();
    requestAnimationFrame(() => {
      const after = new MessageChannel();
      after.port1.onmessage = painted;
      after.port2.postMessage(0);
    });
  }).observe(document.querySelector("main"), { childList: true, subtree: true, characterData: true });
  window.paintedAfter = (count) => new Promise((done, late) => {
    waiting = () => seen.length > count && done(seen[count]);
    waiting();
    setTimeout(() => late(new Error("no strike was painted within 5 s")), 5000);
  });
}
"""  # noqa: E501
# When the field's state and all off stand there, in their style; asked before every frame, told after it.
USEFUL = r"""
window.useful = new Promise((done) => {
  const stands = (id) => document.getElementById(id)?.getBoundingClientRect().height ?? 0;
  const look = () => {
    if (stands("all-off") < 120 || stands("day") === 0) return requestAnimationFrame(look);
    const after = new MessageChannel();
    after.port1.onmessage = () => done(performance.now() / 1000);
    after.port2.postMessage(0);
  };
  requestAnimationFrame(look);
});
"""


def at(values: list[float], share: float) -> float:
    rows = sorted(values)
    return rows[min(len(rows) - 1, int(share * len(rows)))]


def page_clock(page: Page) -> tuple[float, float]:
    """(µs of CLOCK_MONOTONIC_RAW at this page's zero, ± µs): the tightest of many questions."""
    best = (0.0, float("inf"))
    for _ in range(60):
        before = raw_us()
        ms = page.evaluate("performance.now()")
        after = raw_us()
        half = (after - before) / 2
        if half < best[1]:
            best = (before + half - ms * 1000, half)
    return best


def strikes(hill: Hill, phones: Phones) -> list[Row]:
    (hill.folder / "drills" / "four.toml").write_text(DRILL)
    hill.open_day()
    page = phones.new()
    start(page, "four")
    running(page)
    hill.until(lambda: hill.sending() == set(PLAYING))
    page.evaluate(WATCH)
    rng = random.Random("touches")
    zero, before = page_clock(page)
    painted: list[float] = []
    for n in range(STRIKES):
        time.sleep(rng.uniform(0.1, 0.6))
        hill.do("probe", PLAYING[n % len(PLAYING)])
        painted.append(page.evaluate(f"paintedAfter({n})"))
    again, after = page_clock(page)
    truth = hill.truth()
    made = sorted(us for target in PLAYING for us in truth[target]["made"])
    assert len(made) == STRIKES, f"{len(made)} strikes happened of {STRIKES}"
    drift, half = abs(again - zero), max(before, after)
    open_ms = (half + drift) / 1000
    took = [(zero + ms * 1000 - us) / 1000 + open_ms for ms, us in zip(painted, made, strict=True)]
    print(
        f"strike: the page's clock is known to ± {half / 1000:.2f} ms and drifted {drift / 1000:.2f} ms; both are added"
    )
    print(f"strike: median {at(took, 0.5):.0f} ms, longest {max(took):.0f} ms, of {len(took)}")
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")
    return [("strike to screen, 32 on a bus, 4 in an exercise, p95", at(took, 0.95), 300, "ms")]


def first_page(browser: Browser, hill: Hill) -> list[Row]:
    took: list[float] = []
    live: list[float] = []
    for _ in range(LOADS):
        context = browser.new_context(base_url=hill.url, viewport={"width": 360, "height": 640}, has_touch=True)
        page = context.new_page()
        page.add_init_script(USEFUL)
        wire = context.new_cdp_session(page)
        wire.send("Network.enable")
        wire.send("Network.emulateNetworkConditions", SLOW)
        page.goto("/", wait_until="commit")
        took.append(page.evaluate("useful") + HANDSHAKE_S)
        expect(page.locator("fc-live")).to_have_text("Live", timeout=15_000)
        live.append(page.evaluate("performance.now()") / 1000)
        context.close()
    print(f"first page: useful after {', '.join(f'{s:.2f}' for s in took)} s; live after {max(live):.1f} s at the most")
    return [(f"first page useful at 1 Mbit/s and 100 ms, slowest of {LOADS}", max(took), 1, "s")]


def size(hill: Hill, phones: Phones) -> list[Row]:
    def carried(path: str) -> int:
        asked = urllib.request.Request(hill.url + path, headers={"Accept-Encoding": "gzip", "Cookie": cookies})
        with urllib.request.urlopen(asked, timeout=5) as answer:
            return len(answer.read())

    cookies = "; ".join(f"{c['name']}={c['value']}" for c in hill.cookies)
    page = phones.new()
    page.goto("/")
    styled = page.locator("link[rel=stylesheet]").first.get_attribute("href")
    assert styled is not None
    version = styled.rpartition("/")[0]
    files = sum(carried(f"{version}/{file.name}") for file in STATIC.iterdir())
    last = hill.exercise()["exercise"]
    pages = {path: carried(path) for path in ("/", "/field", "/drills/four", f"/exercises/{last}", "/day", "/people")}
    largest = max(pages, key=lambda path: pages[path])
    print(f"size: {files / 1000:.1f} kB static, {pages[largest] / 1000:.1f} kB {largest}")
    return [("the whole app, compressed", (files + pages[largest]) / 1000, 150, "kB")]


def main() -> int:
    """Print figure | limit | ratio; 1 when anything is over its limit."""
    bad = 0
    with (
        tempfile.TemporaryDirectory(prefix="fieldctl-bench-") as scratch,
        a_hill(Path(scratch) / "site", serial=32, mqtt=0) as hill,
        sync_playwright() as playwright,
    ):
        hill.start()
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        phones = Phones(browser, hill)
        parts: tuple[Callable[[], list[Row]], ...] = (
            lambda: strikes(hill, phones),
            lambda: first_page(browser, hill),
            lambda: size(hill, phones),
        )
        for part in parts:
            for what, figure, limit, unit in part():
                print(f"{what}: {figure:.3g} {unit} | {limit:g} {unit} | {figure / limit:.3f}", flush=True)
                bad += figure > limit
        phones.end()
        browser.close()
    return int(bad > 0)


if __name__ == "__main__":
    raise SystemExit(main())
