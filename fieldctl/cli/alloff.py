"""fieldctl all-off and fieldctl generation: what outranks everything, and whom targets obey."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.errors import EXIT_PARTLY, BadInput, FieldctlError, Unreachable

CONFIRM_S = 2.5  # at 20 % frame loss every target that hears has confirmed within 2 s (design, section 9)
ASK_AGAIN_S = 0.1

all_off = typer.Typer(
    help="Switch everything off, now, and keep it off until it is released.",
    epilog="Example:  fieldctl all-off",
    invoke_without_command=True,
)


@all_off.callback()
def all_off_now(
    context: typer.Context,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
    wait: Annotated[float, typer.Option(help="How long to wait for every target to confirm, seconds.")] = CONFIRM_S,
) -> None:
    """Nothing may send until a person in charge releases it. Exit code 3 while somebody has not confirmed."""
    if context.invoked_subcommand is not None:
        if site != HERE or json or by:
            raise BadInput("Options of release stand after the word release.", remedy="Write them there.")
        return
    try:
        ask(site, "all-off", False, lambda _row: None, by=who(by), via="command line")
    except Unreachable as error:
        raise Unreachable(
            f"Nothing could be ordered. {error.what}",
            remedy=f"Start fieldctl serve and order it again. Every grant runs out by itself{_within(site)}; "
            "listen with a receiver. Any signal is a person until proved otherwise.",
        ) from None
    row = _confirmed(site, wait)
    if json:
        show.as_json({"all_off": row["all_off"], "manual": row["manual"]})
    else:
        _off(row)
    if row["all_off"]["unconfirmed"]:
        raise typer.Exit(EXIT_PARTLY)


def _confirmed(site: Path, wait_s: float) -> dict[str, Any]:
    """The status once every target has confirmed, or after the wait."""
    from fieldctl.controller import socket

    until = time.monotonic() + wait_s
    while True:
        row = socket.ask(site, "status", {})
        if not row["all_off"]["unconfirmed"] or time.monotonic() >= until:
            return row
        time.sleep(ASK_AGAIN_S)


def _within(site: Path) -> str:
    from fieldctl.site.files import load_site

    try:
        return f" within {load_site(site).grant_s} s"
    except FieldctlError:
        return ", by default within 30 s"


@all_off.command(epilog="Example:  fieldctl all-off release --by Ansel --reason 'everybody is counted'")
def release(
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
    reason: Annotated[str, typer.Option(help="Why nothing needs to stay off any more.")] = "",
) -> None:
    """Release all off; starts nothing."""
    ask(site, "all-off-release", json, lambda _row: print("released; nothing was started"), by=who(by), reason=reason)


def _off(row: dict[str, Any]) -> None:
    off = row["all_off"]
    print(f"all off, epoch {off['epoch']}: {len(off['confirmed'])} confirmed")
    for u in off["unconfirmed"]:
        heard = "never heard" if u["heard_s_ago"] is None else f"heard {u['heard_s_ago']:g} s ago"
        print(
            f"  NOT confirmed: {u['name']} ({u['place']}): {u['says']}, {heard}, may send for {u['may_send_for_s']:g} s"
        )
    for m in row["manual"]:
        print(f"  hand-buried {m['unit']} ({m['place']}): {m['says']}")


generation = typer.Typer(help="Which controller the targets obey.", no_args_is_help=True)


@generation.command("raise", epilog="Example:  fieldctl generation raise --reason 'the old base station burnt out'")
def raise_(
    reason: Annotated[str, typer.Option(help="Why this controller is the one that steers.")],
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Let targets obey this controller and no other."""
    ask(site, "generation-raise", json, lambda row: print(f"generation {row['generation']}"), by=who(by), reason=reason)
