"""The field as a whole: serve, status, all-off, generation, links, broker, bridge, doctor."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.cli.site import CAUTIONS
from fieldctl.errors import EXIT_PARTLY, BadInput, NotFound, Unreachable

WATCH_EVERY_S = 1.0


def serve(site: SiteDir = HERE) -> None:
    """Open the links of a site and keep its field, until SIGTERM or Ctrl-C, which switch everything off first."""
    import asyncio

    from fieldctl.cli.serving import run_controller
    from fieldctl.site.files import load_site

    found = load_site(site)
    for line in CAUTIONS:
        show.say(line)
    asyncio.run(run_controller(site, found, lambda line: print(line, flush=True)))


def status(
    site: SiteDir = HERE,
    json: AsJson = False,
    watch: Annotated[bool, typer.Option("--watch", help="Show it again every second.")] = False,
) -> None:
    """The whole field: day, all off, links, targets, exercises."""
    while True:
        try:
            ask(site, "status", json, _status)
        except Unreachable as error:
            if not watch:
                _as_of(site, json, error)
                raise
            show.say(f"Not live: {error}")
        if not watch:
            return
        time.sleep(WATCH_EVERY_S)


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


def _as_of(site: Path, json: bool, why: Unreachable) -> None:
    """What the ledger knows, where no controller serves."""
    from fieldctl.cli.outside import ledger_path

    if not ledger_path(site).is_file():
        return
    from fieldctl.controller.memory import remember
    from fieldctl.ledger.reader import Reader

    with Reader.read(ledger_path(site)) as reader:
        memory = remember(reader)
        last = next(reversed(list(reader.entries(after_seq=max(0, reader.head()[0] - 1)))), None)
    wall = last.wall if last is not None else None
    row = {
        "live": False,
        "as_of": wall,
        "all_off": {"in_force": memory.all_off, "epoch": memory.epoch},
        "grants_not_ended": [
            {"target": g.target, "exercise": g.exercise, "burial": g.burial} for g in memory.open_grants.values()
        ],
        "error": why.as_json(),
    }
    if json:
        show.as_json(row)
        return
    print(f"Not live; from the ledger, as of {wall or 'an unknown time'}:")
    print(f"all off: {'in force' if memory.all_off else 'not in force'} (epoch {memory.epoch})")
    for g in memory.open_grants.values():
        print(f"{g.target} was granted to send; it falls quiet by itself at the end of its grant")


all_off = typer.Typer(
    help="Switch everything off, now, and keep it off until it is released.", invoke_without_command=True
)


@all_off.callback()
def all_off_now(context: typer.Context, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Nothing may send until a person in charge releases it."""
    if context.invoked_subcommand is not None:
        return
    try:
        ask(site, "all-off", False, lambda _row: None, by=who(by), via="command line")
    except Unreachable as error:
        raise Unreachable(
            f"Nothing could be ordered. {error.what}",
            remedy="Start fieldctl serve and order it again. Every grant runs out by itself, by default within 30 s; "
            "listen with a receiver. Any signal is a person until proved otherwise.",
        ) from None
    time.sleep(WATCH_EVERY_S)  # long enough for every target that hears to have confirmed
    row = ask(site, "status", json, _off)
    if row["all_off"]["unconfirmed"]:
        raise typer.Exit(EXIT_PARTLY)


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
