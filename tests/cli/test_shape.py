"""The public surface of the command line: every command takes --site and --json, and its help shows an example."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import typer
from typer.main import get_command

from fieldctl.cli.main import app

EXPECTED = [
    "alarm clear", "alarm list", "alarm test",
    "all-off", "all-off release",
    "assessment candidates", "assessment decide", "assessment list", "assessment show", "assessment sign",
    "assessment tick", "backup create", "backup restore", "backup verify", "bridge", "broker config", "certify",
    "day check", "day close", "day open", "day renewed", "day touch", "debrief",
    "doctor", "drill check", "drill list", "drill preview", "exercise answer", "exercise call", "exercise check",
    "exercise correct", "exercise list", "exercise reopen", "exercise resume", "exercise show", "exercise split",
    "exercise start", "exercise stop", "generation raise", "ledger export", "ledger replay", "ledger verify", "links",
    "manual in", "manual out",
    "person certificate", "person forget", "person list", "person rename",
    "phone code", "phone end", "phone end-all", "phone list",
    "rights code", "rights give", "rights list", "rights take", "season",
    "serve", "site check", "site new", "site no-go", "site places", "site resurvey", "site snow import",
    "site snow list", "site snow measured", "site survey", "status", "target add", "target bar",
    "target clear", "target find", "target history", "target list", "target moved", "target name", "target rotate",
    "target search", "target take-out", "target trace", "target tune", "upkeep", "upkeep carry", "upkeep reading",
    "upkeep retrieval begin", "upkeep retrieval close", "upkeep retrieval got", "upkeep retrieval lost",
    "upkeep retrieval show", "upkeep retrieval undo",
    "upkeep self-test heard", "upkeep self-test run", "upkeep self-test show", "upkeep swapped",
    "upkeep visit begin", "upkeep visit close", "upkeep visit list", "upkeep visit show", "upkeep visit tick",
    "upkeep visit untick",
    "walk-in end", "walk-in release", "walk-in start", "walk-in status", "walk-in stop",
]  # fmt: skip
NO_SITE = ("backup restore", "backup verify", "site new")  # which name the file or the folder that they are about


def commands(command: object, name: str = "") -> Iterator[tuple[str, object]]:
    below = getattr(command, "commands", {})
    for word, sub in below.items():
        yield from commands(sub, f"{name} {word}".strip())
    if not below or getattr(command, "invoke_without_command", False):
        yield name, command


FOUND = dict(commands(get_command(app)))


def options(command: object) -> set[str]:
    return {word for parameter in command.params for word in parameter.opts}  # type: ignore[attr-defined]


def test_the_commands_there_are() -> None:
    assert sorted(FOUND) == EXPECTED


@pytest.mark.parametrize("name", EXPECTED)
def test_help_names_what_is_to_be_typed_as_people_say_it(name: str) -> None:
    arguments = [one for one in FOUND[name].params if one.param_type_name == "argument"]  # type: ignore[attr-defined]
    assert not [word for one in arguments if (word := one.metavar or one.name).endswith("_")]


@pytest.mark.parametrize("name", EXPECTED)
def test_every_command(name: str) -> None:
    command = FOUND[name]
    assert isinstance(command, typer.core.TyperCommand | typer.core.TyperGroup)
    assert "--json" in options(command)
    assert ("--site" in options(command)) is (name not in NO_SITE)
    assert command.help
    assert "Example:" in (command.epilog or ""), "no example in its help"
    assert f"fieldctl {name}" in (command.epilog or "")
    for parameter in command.params:
        assert getattr(parameter, "help", None), f"{parameter.name} says nothing of itself"
