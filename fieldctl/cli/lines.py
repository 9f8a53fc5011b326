"""fieldctl links, broker, bridge: what the field is reached by."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.errors import BadInput, NotFound

if TYPE_CHECKING:
    from fieldctl.site.model import MqttLink, Site
    from fieldctl.units import TargetId

broker = typer.Typer(help="The Mosquitto broker of a park.", no_args_is_help=True)


def links(site: SiteDir = HERE, json: AsJson = False) -> None:
    """The serial ports of this machine, who has them, and which of the site's links uses which."""
    from fieldctl.errors import FieldctlError
    from fieldctl.links.serial_bus import list_ports
    from fieldctl.site.files import load_site

    try:
        used = {str(Path(link.port).resolve()): link.name for link in load_site(site).serial}
    except FieldctlError:
        used = {}  # this command also serves whoever has no site yet
    rows = [
        {
            "port": p.port,
            "what": p.description,
            "link": used.get(str(Path(p.port).resolve())),
            "held_by": p.held_by and str(p.held_by),
        }
        for p in list_ports()
    ]
    if json:
        show.as_json({"ports": rows})
    else:
        show.table(("port", "what", "link", "held by"), [tuple(row.values()) for row in rows])


@broker.command(
    "config", epilog="Example:  fieldctl broker config broker --bridge far=lower   then   fieldctl bridge --name far …"
)
def config(
    folder: Annotated[Path, typer.Argument(help="Where to write mosquitto.conf, users and access list.")],
    bridge: Annotated[
        list[str] | None, typer.Option(help="NAME=ZONE: a bridge and the zone behind it; may be given several times.")
    ] = None,
    tls: Annotated[bool, typer.Option(help="Listen with TLS; without, on this machine's loopback only.")] = True,
    anew: Annotated[bool, typer.Option("--anew", help="Make new passwords for everybody, over those there.")] = False,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Write a configuration with a user for each target, queues that drop nothing, and an access list."""
    from fieldctl.cli.broker import write_config
    from fieldctl.site.files import load_site

    found = load_site(site)
    behind = {}
    for text in bridge or ():
        name, equals, zone = text.partition("=")
        if not equals:
            raise BadInput(f"{text!r} names no zone.", expected="NAME=ZONE", remedy="Such as --bridge far=lower.")
        behind[name] = _behind(found, {m.name for m in found.mqtt}, zone)
    written = write_config(folder, found, behind, tls=tls, anew=anew)
    if json:
        show.as_json({"users": written.users, "files": written.files, "put": written.put})
    else:
        show.lines(written.lines())


def bridge(
    port: Annotated[str, typer.Option(help="The serial port of the far zone's bus.")],
    link: Annotated[str, typer.Option(help="The site's MQTT link to use.")],
    target: Annotated[list[str] | None, typer.Option(help="A target behind this bridge.")] = None,
    zone: Annotated[str | None, typer.Option(help="All targets of a zone on that link.")] = None,
    name: Annotated[
        str, typer.Option(help="Its name at the broker, which knows it as bridge-NAME; the zone's otherwise.")
    ] = "",
    password_file: Annotated[
        Path | None, typer.Option(help="Its password, mode 0600; none for a broker that asks for none.")
    ] = None,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Be the bus master of a far zone, and pass sealed messages between its bus and the broker. Holds no key."""
    import asyncio

    from fieldctl.cli.outside import broker_at
    from fieldctl.cli.serving import run_bridge
    from fieldctl.links.mosquitto import BRIDGE_PREFIX
    from fieldctl.site.files import load_site

    found = load_site(site)
    at = next((m for m in found.mqtt if m.name == link), None)
    if at is None:
        names = ", ".join(m.name for m in found.mqtt) or "none"
        raise NotFound(f"The site has no MQTT link {link!r}.", expected=names, remedy="Name one of these.")
    ids = _targets(found, at, target or (), zone)
    called = name or zone
    if not called:
        raise BadInput("This bridge has no name.", remedy="Give it the one that the broker knows: --name NAME.")
    file = "" if password_file is None else str(password_file.absolute())
    where = broker_at(site, at, BRIDGE_PREFIX + called, file)
    asyncio.run(run_bridge(found, where, port, ids, lambda row: _bridging(row, json), show.say))


def _bridging(row: dict[str, Any], json: bool) -> None:
    if json:
        show.as_json(row)
    else:
        print(f"Bridging {len(row['targets'])} targets between {row['port']} and {row['broker']}.")
    sys.stdout.flush()


def _targets(site: Site, link: MqttLink, named: list[str] | tuple[()], zone: str | None) -> tuple[TargetId, ...]:
    """Those named, and those of the zone on that link."""
    from fieldctl.units import target_id

    try:
        ids = [target_id(t) for t in named]
    except ValueError as error:
        raise BadInput(f"{error}.", remedy="Look at fieldctl target list.") from None
    if zone is not None:
        ids += _behind(site, {link.name}, zone)
    if not ids:
        raise BadInput("No target lies behind this bridge.", remedy="Name them with --target or --zone.")
    return tuple(dict.fromkeys(ids))


def _behind(site: Site, links: set[str], zone: str) -> list[TargetId]:
    """The targets of a zone on these links."""
    names = [z.name for z in site.zones]
    if zone not in names:
        raise BadInput(f"There is no zone {zone!r}.", expected=", ".join(names), remedy="Name one of these.")
    found = [p.target for p in site.places if p.zone == zone and p.link in links]
    if not found:
        raise BadInput(
            f"No target of zone {zone!r} is reached by {', '.join(sorted(links)) or 'a broker'}.",
            remedy="Name that link beside its targets in site.toml.",
        )
    return found
