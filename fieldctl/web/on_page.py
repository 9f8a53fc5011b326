"""A remedy as who reads it on a phone can follow it: `fieldctl day open` is said as the page where that is done.

The controller's remedies name commands, since it speaks to a terminal and into the log. Whoever has a page in hand has
no terminal. A command that no page carries out stays as it is: it is done at the base station.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from fieldctl.web.words import LANGUAGES, words

COMMAND = "fieldctl "

PAGES: Mapping[str, tuple[str, str]] = {
    "all-off release": ("base.on_every_page", "base.off_release"),
    **dict.fromkeys(("day open", "day close", "day touch", "day check"), ("base.on_page", "base.link_day")),
    **dict.fromkeys(("manual in", "manual out"), ("base.on_page", "base.link_day")),
    **dict.fromkeys(("exercise list", "exercise stop", "status", "alarm list"), ("base.on_page", "base.link_now")),
    "target list": ("base.on_page", "base.link_field"),
    "drill list": ("base.on_page", "base.link_drills"),
    **dict.fromkeys(("person list", "phone list", "phone code"), ("base.on_page", "base.link_people")),
    **dict.fromkeys(("rights list", "rights give", "rights take"), ("base.on_page", "base.link_people")),
    **dict.fromkeys(("target find", "target bar", "target clear"), ("base.on_page", "base.link_upkeep")),
    **dict.fromkeys(("upkeep swapped", "target history"), ("base.on_page", "base.link_upkeep")),
    **dict.fromkeys(
        ("upkeep carry", *(f"upkeep visit {what}" for what in ("begin", "show", "tick", "untick", "close"))),
        ("base.on_page", "carry.title"),
    ),
    **dict.fromkeys(
        tuple(f"upkeep retrieval {what}" for what in ("begin", "show", "got", "lost", "undo", "close")),
        ("base.on_page", "carry.retrieval"),
    ),
    **dict.fromkeys(("walk-in release", "walk-in end", "walk-in status"), ("base.on_page", "walkin.title")),
}
"""Commands that a page carries out or shows: how it is said, and what the page or the button is called."""

_GIVEN = r"(?: (?:--?[\w-]+|'[^']*'|[A-Z][A-Z-]+(?![\w-])|\d{4}-\d\d-\d\d|[^\s.,;:)]+(?= --| ?[.,;:)]|$)))*"
_ANY = "|".join(re.escape(command) for command in sorted(PAGES, key=len, reverse=True))
_NAMED = re.compile(rf"`?fieldctl ({_ANY})(?![\w-]){_GIVEN}`?")


def on_page(language: str, text: str) -> str:
    """What this program says in a language, as a page shows it: pages instead of commands."""
    if COMMAND not in text or language not in LANGUAGES:
        return text
    t = words(language)

    def page(found: re.Match[str]) -> str:
        how, called = PAGES[found[1]]
        return t(how, page=t(called))

    return _NAMED.sub(page, text)
