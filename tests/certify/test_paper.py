"""The page to sign is one sheet of paper, however much failed or could not be tried."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from playwright.sync_api import Browser, sync_playwright
from shut import DOORS

from fieldctl.certify import report
from fieldctl.certify.requirements import REQUIREMENTS
from fieldctl.certify.run import Certificate

CHROMIUM = "/usr/bin/chromium"
SEEN = "the answer was refused (other boot) and not done, as it has to be within 13 ms of the order's begin; "


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield made
        made.close()


def failing(certificate: Certificate, every: int, letters: int) -> Certificate:
    """The same with every so many-th row failed."""
    seen = (SEEN * (letters // len(SEEN) + 1))[:letters]
    rows = tuple(
        replace(row, verdict="failed", seen=f"{row.number} {seen}") if row.number % every == 0 else row
        for row in certificate.rows
    )
    return replace(certificate, rows=rows, stopped="the target did not come back to rest after framing-long")


def sheets(browser: Browser, certificate: Certificate) -> int:
    page = browser.new_page()
    page.set_content(report.as_html(certificate, "2031-01-18T08:00:00Z"))
    paper = page.pdf(prefer_css_page_size=True)
    page.close()
    return len(re.findall(rb"/Type\s*/Page\b", paper))


@pytest.mark.parametrize("bench_keys", [True, False])
def test_with_every_door_shut_it_is_one_sheet(browser: Browser, bench_keys: bool) -> None:
    certificate = DOORS[bench_keys]
    assert certificate.count("not tried") >= 22
    assert sheets(browser, certificate) == 1


@pytest.mark.parametrize("bench_keys", [True, False])
@pytest.mark.parametrize(("every", "letters"), [(30, 200), (15, 600), (9, 600), (4, 150), (2, 150), (1, 600)])
def test_however_much_failed_it_is_one_sheet(browser: Browser, bench_keys: bool, every: int, letters: int) -> None:
    certificate = failing(DOORS[bench_keys], every, letters)
    assert sheets(browser, certificate) == 1
    html = report.as_html(certificate, None)
    assert html.count('class="failed"') == len(REQUIREMENTS) // every
    for row in certificate.rows:
        if row.verdict == "failed":
            assert f">{row.number} the ans" in html  # shortened perhaps, and never left out
