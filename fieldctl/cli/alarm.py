"""fieldctl alarm: what needs a person, what was mended, and whether alerts get through."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.errors import EXIT_PARTLY

alarm = typer.Typer(
    help="What needs a person; an alarm stays until a good reading of the same kind comes.",
    no_args_is_help=True,
)


@alarm.command("list", epilog="Example:  fieldctl alarm list --site larch-hollow")
def list_(site: SiteDir = HERE, json: AsJson = False) -> None:
    """What is in force, since when and what to do, what matters most first; and how the webhook fares."""
    ask(site, "alarm-list", json, _listed)


@alarm.command(epilog="Example:  fieldctl alarm clear 'Larch 3' battery --reason 'fresh cells, 3.4 V under load'")
def clear(
    about: Annotated[str, typer.Argument(help="The target's id or name, or the link's name.")],
    what: Annotated[str, typer.Argument(help="The alarm's word, as the list shows it.")],
    reason: Annotated[str, typer.Option("--reason", help="What was mended, and how it was seen.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Say that it was mended. Ends the alarm alone: a barred target stays barred, and what is still bad comes again."""
    ask(site, "alarm-clear", json, _listed, about=about, what=what, reason=reason, by=who(by))


@alarm.command("test", epilog="Example:  fieldctl alarm test --site larch-hollow")
def try_it(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Send one alert that says it is a test through the webhook of site.toml."""
    row = ask(site, "alarm-test", json, _tested)
    if row["test"] != "delivered":
        raise typer.Exit(EXIT_PARTLY)


def _listed(row: dict[str, Any]) -> None:
    if not row["alarms"]:
        print("No alarm is in force. Quiet is what targets say: any signal is a person until proved otherwise.")
    else:
        show.table(
            ("about", "alarm", "since"),
            [(one["name"], one["what"], one["since"] or "before the wall's clock was set") for one in row["alarms"]],
        )
    for one in row["alarms"]:
        print(f"{one['says']} To do: {one['remedy']}")
    print(webhook_words(row["webhook"]))


def _tested(row: dict[str, Any]) -> None:
    print("Delivered." if row["test"] == "delivered" else "Not delivered yet; it is tried again.")
    print(webhook_words(row["webhook"]))


def webhook_words(hook: dict[str, Any]) -> str:
    """How the webhook fares, as one line."""
    if not hook["on"]:
        return "webhook: none is set ([alerts] webhook in site.toml)"
    counts = f"{hook['delivered']} delivered, {hook['waiting']} waiting, {hook['dropped']} dropped"
    if hook["failing"]:
        since = hook["failing_since"] or "an unknown time"
        return f"webhook {hook['host']}: FAILING since {since}: {hook['why']} ({counts})"
    return f"webhook {hook['host']}: last delivered {hook['last_delivered'] or 'never'} ({counts})"
