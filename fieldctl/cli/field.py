"""The field as a whole: serve, status, doctor."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir, ask
from fieldctl.errors import EXIT_PARTLY, Unreachable


def serve(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Open the links of a site and keep its field, until SIGTERM or Ctrl-C, which switch everything off first."""
    import asyncio

    from fieldctl.cli.serving import run_controller
    from fieldctl.site.files import load_site

    asyncio.run(run_controller(site, load_site(site), lambda row: _serving(row, json), show.say))


def _serving(row: dict[str, Any], json: bool) -> None:
    """That the field is kept from now on, and where its pages are."""
    from fieldctl.web.qr import terminal

    if json:
        show.as_json(row)
    else:
        links = ", ".join(row["links"]) or "no links"
        state = "ALL OFF in force" if row["all_off"]["in_force"] else "all off is not in force"
        print(f"Serving {row['title']}: {row['targets']} targets on {links}; {state}; socket {row['socket']}")
        _steers(row)
        print(f"Pages: {row['pages']}")
        if sys.stdout.isatty():
            print(terminal(row["pages"]))
    sys.stdout.flush()


def _steers(row: dict[str, Any]) -> None:
    """A line where this log was put back from a backup, and nobody said yet that this controller steers."""
    from fieldctl.site.checks import STEERS_NOBODY

    if not row["steers"]:
        print(f"{STEERS_NOBODY.wrong} {STEERS_NOBODY.remedy}")


def status(
    site: SiteDir = HERE,
    json: AsJson = False,
    watch: Annotated[bool, typer.Option("--watch", help="Show each entry of the log as it is committed.")] = False,
) -> None:
    """The whole field: day, all off, links, targets, exercises. Without a serve: what the log says, and exit code 4."""
    try:
        ask(site, "status", json, _status)
    except Unreachable as error:
        from fieldctl.cli.asof import as_of, for_people

        row = as_of(site)
        if row is None:
            raise
        if json:
            show.as_json({**row, "error": error.as_json()})
        else:
            for_people(row)
        show.say(str(error))
        raise typer.Exit(error.exit_code) from None
    if watch:
        _watch(site, json)


def _watch(site: Path, json: bool) -> None:
    from fieldctl.controller import socket

    for row in socket.watch(site):
        if json:
            show.as_json(row)
        elif "missed" in row:
            show.say(f"{row['missed']} entries came too fast to be shown; they are in the log.")
        else:
            e = row["entry"]
            print(e["seq"], e["wall"] or "-", e["kind"], e["exercise"] or "", e["target"] or "", flush=True)
    raise Unreachable("Not live any more: the controller went away.", remedy="Look at it: fieldctl doctor.")


def _status(row: dict[str, Any]) -> None:
    from fieldctl.cli.exercise import one
    from fieldctl.cli.target import rows

    day, off = row["day"], row["all_off"]
    charge = f"{day['in_charge']} in charge" if day["open"] else "every start is refused"
    print(f"{row['site']}  {'open' if day['open'] else 'closed'}, {charge}")
    _steers(row)
    if row["ledger"]["failed"]:
        print(f"LEDGER FAILED, nothing sends: {row['ledger']['failed']}")
    if off["in_force"]:
        print(f"ALL OFF in force (epoch {off['epoch']}): {len(off['confirmed'])} confirmed")
        for u in off["unconfirmed"]:
            heard = "never heard" if u["heard_s_ago"] is None else f"heard {u['heard_s_ago']:g} s ago"
            print(f"  {u['name']} ({u['place']}): {u['says']}, {heard}, may send for {u['may_send_for_s']:g} s")
    for m in row["manual"]:
        print(f"hand-buried {m['unit']} ({m['zone']}, {m['place']}): {m['says']}")
    for link in row["links"]:
        print(f"link {link['name']} ({link['kind']}): {'up' if link['up'] else 'down'}, {link['targets']} targets")
    rows(row["targets"])
    for exercise in row["exercises"]:
        one(exercise)


def doctor(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Look at this machine and this site: what is well, what is not, and what to do."""
    from fieldctl.cli.doctor import look

    rows = look(site)
    if json:
        show.as_json({"checks": rows})
    else:
        for row in rows:
            print(f"{'ok  ' if row['ok'] else 'LOOK'}  {row['what']}: {row['seen']}")
            if not row["ok"]:
                print(f"      {row['remedy']}")
    if not all(row["ok"] for row in rows):
        raise typer.Exit(EXIT_PARTLY)
