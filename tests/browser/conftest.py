"""One Chromium for all browser tests; a phone, a tall phone and a tablet; somebody signed in by the first code."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Response, sync_playwright
from playwright.sync_api import Error as PlaywrightError

sys.path.insert(0, str(Path(__file__).parent))
from hill import Hill, a_hill

CHROMIUM = "/usr/bin/chromium"
# Chromium asks its maker's hosts for this and that at every start unless it is told not to.
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
        "--disable-component-update", "--disable-sync"]  # fmt: skip
SIZES = {"phone": (360, 640), "tall": (412, 915), "tablet": (820, 1180)}


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def one_hill(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hill]:
    with a_hill(tmp_path_factory.mktemp("hill") / "site") as made:
        made.start()
        yield made


@pytest.fixture
def hill(one_hill: Hill) -> Iterator[Hill]:
    """The field of all tests, as a test expects it: open, settled, nothing going on, every branch whole."""
    yield one_hill
    one_hill.calm()


@pytest.fixture
def own_hill(tmp_path: Path) -> Iterator[Hill]:
    """A field of one's own, closed: for tests that kill it."""
    with a_hill(tmp_path / "site") as made:
        made.start()
        yield made


def _gone_to(goto: Callable[..., Response | None], path: str, **options: object) -> Response | None:
    """A page that shows itself anew just then (its right was taken, the field closed) is left all the same."""
    try:
        return goto(path, **options)
    except PlaywrightError as error:
        if "interrupted by another navigation" not in error.message:
            raise
        return goto(path, **options)


class Phones:
    """Phones beside the field, each a browser context of its own; what was asked of another host fails the test."""

    def __init__(self, browser: Browser, hill: Hill) -> None:
        self._browser = browser
        self._hill = hill
        self._contexts: list[BrowserContext] = []
        self.foreign: list[str] = []
        self.errors: list[str] = []

    def new(self, size: str = "phone", *, signed_in: bool = True, through: str = "", **options: object) -> Page:
        """A phone; `through` another address than the field's own, `options` as a browser context takes them."""
        width, height = SIZES[size]
        url = through or self._hill.url
        settings = {"viewport": {"width": width, "height": height}, "has_touch": True, "locale": "en", **options}
        context = self._browser.new_context(base_url=url, **settings)
        context.set_default_timeout(10_000)
        context.set_default_navigation_timeout(30_000)  # a season is worked out by a process that is nice to the field
        self._contexts.append(context)
        if signed_in:
            if not self._hill.cookies:
                self._hill.cookies = self._first(context, url)
            context.add_cookies(self._hill.cookies)  # type: ignore[arg-type]
        page = context.new_page()
        page.goto = partial(_gone_to, page.goto)  # type: ignore[method-assign]
        self.watched(page, url)
        return page

    def watched(self, page: Page, own: str = "") -> None:
        own = own or self._hill.url

        def asked(request: object) -> None:
            url = request.url  # type: ignore[attr-defined]
            if not url.startswith((own, "data:", "blob:")):
                self.foreign.append(url)

        page.on("request", asked)
        page.on("pageerror", lambda error: self.errors.append(str(error)))

    def _first(self, context: BrowserContext, own: str) -> list[dict[str, object]]:
        """Mira takes the first code from the terminal, and is in charge from then on."""
        page = context.new_page()
        self.watched(page, own)
        page.goto(f"/first/{self._hill.code}")
        page.locator("#name").fill("Mira")
        page.locator("form[data-ask=first] button").click()
        page.wait_for_url(lambda url: "/first" not in url)
        page.close()
        return context.cookies()  # type: ignore[return-value]

    def end(self) -> None:
        for context in self._contexts:
            context.close()


@pytest.fixture
def phones(chromium: Browser, request: pytest.FixtureRequest) -> Iterator[Phones]:
    own = "own_hill" in request.fixturenames
    made = Phones(chromium, request.getfixturevalue("own_hill" if own else "hill"))
    yield made
    made.end()
    assert made.foreign == []
    assert made.errors == []
