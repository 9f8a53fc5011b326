"""What a terminal types, a page names by where it is done; what only the base station can do stays a command."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib import resources

import pytest
from sayings_kit import spoken
from typer.main import get_command

from fieldctl.cli.main import app
from fieldctl.upkeep.words import words_of
from fieldctl.web.on_page import PAGES, on_page
from fieldctl.web.paper import _environment
from fieldctl.web.sayings import sayings_of
from fieldctl.web.words import LANGUAGES, catalogue, words

AT_THE_BASE = {
    *("assessment decide", "assessment list", "doctor", "exercise correct", "generation raise", "ledger export"),
    *("ledger replay", "ledger verify", "rights code", "site no-go", "site resurvey", "site snow", "target add"),
    *("target tune", "upkeep reading"),
}
"""Commands that stay: the machine's own, the survey, keys, and what a correction or an assessment has a form for."""
COMMAND = re.compile(r"fieldctl ([a-z-]+)(?: ([a-z-]+))?")
COMMANDS: dict[str, object] = get_command(app).commands  # type: ignore[attr-defined]
NO_REMEDY = {"serve"}  # the program that is being read


def shown(language: str) -> Iterator[str]:
    """Every text that can reach a page."""
    yield from sayings_of(language)[0].values() if language != "en" else spoken()
    yield from catalogue(language).values()
    yield from words_of(language).values()


def typed(text: str) -> set[str]:
    """The commands in a text: the first two words, or the one of a command that has no second."""
    found = set()
    for first, second in COMMAND.findall(text):
        command = COMMANDS.get(first)
        if command is not None:
            found.add(f"{first} {second}" if second in getattr(command, "commands", ()) else first)
    return found - NO_REMEDY


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_command_is_a_pages_or_one_of_the_base_station(language: str) -> None:
    left: set[str] = set()
    for text in map(str, shown(language)):
        said = on_page(language, text)
        left |= typed(said)
        assert said == text or not re.search(r"[”»“] (?:--|'|[A-Z]{3})", said), (said, text)
    assert left == AT_THE_BASE


def test_the_commands_of_the_table_are_commands() -> None:
    for line in PAGES:
        command: object = get_command(app)
        for word in line.split():
            command = command.commands[word]  # type: ignore[attr-defined]


@pytest.mark.parametrize("command", PAGES)
@pytest.mark.parametrize("language", LANGUAGES)
def test_a_command_with_whatever_it_is_given_is_one_page(language: str, command: str) -> None:
    how, called = PAGES[command]
    page = words(language)(how, page=words(language)(called))
    for given in ("", " NAME --send", " 'Lone larch' --day 2026-11-30", " Larch", " --reason 'why this one'", " w1"):
        assert on_page(language, f"Zuerst: fieldctl {command}{given}.") == f"Zuerst: {page}."
        assert on_page(language, f"Listen (fieldctl {command}{given}), then wait.") == f"Listen ({page}), then wait."


def test_what_follows_in_the_sentence_stays() -> None:
    assert on_page("en", "See fieldctl target list for what it says; go.") == "See page “Field” for what it says; go."
    assert on_page("en", "Run fieldctl day opening now") == "Run fieldctl day opening now"
    assert on_page("rm", "fieldctl day open") == "fieldctl day open"


def test_every_remedy_of_the_upkeep_account_passes_through_it_on_a_page() -> None:
    made = _environment().from_string("{{ remedy|on_page|days }}")
    said = made.render(language="de", remedy="Seit 2026-01-24: fieldctl target list.")
    assert said == 'Seit <span class="day">2026-01-24</span>: Seite „Feld“.'
    folder = resources.files("fieldctl.web").joinpath("templates")
    found = 0
    for file in (file for file in folder.iterdir() if file.name.startswith(("upkeep", "carry"))):
        for shown in re.findall(r"\{\{ ((?:row|one)\.remedy|job\.what)(\S*)", file.read_text(encoding="utf-8")):
            assert shown[1].startswith("|on_page"), (file.name, shown)
            found += 1
    assert found >= 5
