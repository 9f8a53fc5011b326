"""The field as a whole: serve, status, all-off, generation, links, broker, bridge, doctor."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.errors import EXIT_PARTLY, BadInput, FieldctlError, NotFound, Unreachable

CONFIRM_S = 2.5  # at 20 % frame loss every target that hears has confirmed within 2 s (design, section 9)
ASK_AGAIN_S = 0.1


def serve(site: SiteDir = HERE) -> None:
    """Open the links of a site and keep its field, until SIGTERM or Ctrl-C, which switch everything off first."""
    import asyncio

    from fieldctl.cli.serving import run_controller
    from fieldctl.site.files import load_site

    asyncio.run(run_controller(site, load_site(site), lambda line: print(line, flush=True), show.say))


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


all_off = typer.Typer(
    help="Switch everything off, now, and keep it off until it is released.", invoke_without_command=True
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


@all_off.command()
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


@generation.command("raise")
def raise_(
    reason: Annotated[str, typer.Option(help="Why this controller is the one that steers.")],
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Let targets obey this controller and no other."""
    ask(site, "generation-raise", json, lambda row: print(f"generation {row['generation']}"), by=who(by), reason=reason)


def links(json: AsJson = False) -> None:
    """The serial ports of this machine, and who has them."""
    from fieldctl.links.serial_bus import list_ports

    ports = list_ports()
    if json:
        show.as_json(
            {"ports": [{"port": p.port, "what": p.description, "held_by": p.held_by and str(p.held_by)} for p in ports]}
        )
    else:
        show.table(("port", "what", "held by"), [(p.port, p.description, p.held_by) for p in ports])


broker = typer.Typer(help="The Mosquitto broker of a park.", no_args_is_help=True)


@broker.command("config")
def config(
    folder: Annotated[Path, typer.Argument(help="Where to write mosquitto.conf, users and access list.")],
    site: SiteDir = HERE,
    tls: Annotated[bool, typer.Option(help="Listen with TLS.")] = True,
) -> None:
    """Write a configuration with a user for each target, queues that drop nothing, and an access list."""
    from fieldctl.cli.broker import write_config

    show.lines(write_config(folder, site, tls=tls))


def bridge(
    port: Annotated[str, typer.Option(help="The serial port of the far zone's bus.")],
    link: Annotated[str, typer.Option(help="The site's MQTT link to use.")],
    target: Annotated[list[str] | None, typer.Option(help="A target behind this bridge.")] = None,
    zone: Annotated[str | None, typer.Option(help="All targets of a zone on that link.")] = None,
    site: SiteDir = HERE,
) -> None:
    """Be the bus master of a far zone, and pass sealed messages between its bus and the broker. Holds no key."""
    import asyncio

    from fieldctl.cli.serving import run_bridge
    from fieldctl.site.files import load_site
    from fieldctl.units import target_id

    found = load_site(site)
    at = next((m for m in found.mqtt if m.name == link), None)
    if at is None:
        names = ", ".join(m.name for m in found.mqtt) or "none"
        raise NotFound(f"The site has no MQTT link {link!r}.", expected=names, remedy="Name one of these.")
    try:
        ids = [target_id(t) for t in target or ()]
    except ValueError as error:
        raise BadInput(f"{error}.", remedy="Look at fieldctl target list.") from None
    ids += [p.target for p in found.places if zone is not None and p.zone == zone and p.link == link]
    if not ids:
        raise BadInput("No target lies behind this bridge.", remedy="Name them with --target or --zone.")
    password = (site / at.password_file).read_text(encoding="utf-8").strip() if at.password_file else ""
    asyncio.run(run_bridge(found, at, port, tuple(dict.fromkeys(ids)), password, show.say))


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


__all__ = ["all_off", "bridge", "broker", "doctor", "generation", "links", "serve", "status"]
