"""fieldctl certify: whether a target fits the contract."""

from __future__ import annotations

import os
import secrets
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.errors import EXIT_FAILURE, EXIT_PARTLY, BadInput, NotFound, Refused, Unreachable
from fieldctl.units import US_PER_S

if TYPE_CHECKING:
    from fieldctl.certify.bench import Bench
    from fieldctl.certify.row import Requirement
    from fieldctl.certify.run import Certificate, Row
    from fieldctl.certify.side_door import SideDoor
    from fieldctl.certify.talk import Talk
    from fieldctl.links.broker_at import BrokerAt

KEY_VERSIONS = 16  # of a site's keys, tried in turn: the target says nothing under another one
MQTT_PORT = 1883
MQTTS_PORT = 8883
HTML = (".html", ".htm")
ENDINGS = (*HTML, ".txt")
EPILOG = (
    "Example:  fieldctl certify --port /dev/ttyUSB0 --secret-file label.txt --report certificate.html   (on a bench)   "
    "|   fieldctl certify --site larch-hollow --port /dev/ttyUSB0 --target 5ee00003   (of a site, serve stopped)"
)


def certify(
    port: Annotated[str, typer.Option(help="A serial port.")] = "",
    socket: Annotated[str, typer.Option(help="HOST:PORT of a socket that carries a bus's bytes.")] = "",
    mqtt: Annotated[str, typer.Option(help="mqtt(s)://USER@HOST[:PORT]/SITE-WORD; needs --target.")] = "",
    password_file: Annotated[Path | None, typer.Option(help="The broker user's password, mode 0600.")] = None,
    target: Annotated[str, typer.Option(help="The target's id; on a bench with one new target it is found.")] = "",
    secret_file: Annotated[
        Path | None,
        typer.Option(
            help="The factory secret on its label, as hexadecimal digits (- for standard input): gives the target keys "
            "for this bench and makes it forget them; without, the keys come from --site."
        ),
    ] = None,
    door: Annotated[
        str, typer.Option(help="HOST:PORT or path of the port's side door: reboots, touches, the gate's edges.")
    ] = "",
    by_hand: Annotated[
        bool, typer.Option("--by-hand", help="Somebody stands by to strike the pad, press and pull the plug.")
    ] = False,
    only: Annotated[list[str] | None, typer.Option(help="A requirement's id, to try it alone; several times.")] = None,
    report: Annotated[Path | None, typer.Option(help="Where to write one page to sign: .html or .txt.")] = None,
    list_: Annotated[bool, typer.Option("--list", help="Show the requirements, and try nothing.")] = False,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Try a target against every requirement of the contract. IT SENDS at times: not beside anybody who searches.

    Takes some minutes. Nobody else may use the line: stop serve first. The target is left quiet, all off latched, and
    so is everything else of its site on that line.
    Exit codes: 0 all passed, 1 something failed, 3 not everything was tried (with --only never is), 4 nothing there.
    """
    if list_:
        from fieldctl.certify import requirements

        if json:
            show.as_json({"requirements": requirements.as_rows()})
        else:
            show.lines([requirements.as_text()])
        return
    wanted = _only(only or [])
    if sum(map(bool, (port, socket, mqtt))) != 1:
        raise BadInput(
            "It is not said where the target is.",
            expected="one of --port, --socket and --mqtt",
            remedy="Such as: fieldctl certify --port /dev/ttyUSB0 --secret-file label.txt",
        )
    secret = _secret(secret_file) if secret_file is not None else None
    if secret is None and not target:
        raise BadInput(
            "It is not said under which keys the target answers.",
            expected="--secret-file with the secret of its label, or --site DIR and --target ID",
            remedy="On a bench take the label's secret; for a target of a site name both.",
        )
    if report is not None:
        _may_write(report)
    bench, keep_to = _bench(port, socket, mqtt, password_file, target, _door(door, by_hand))
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # as Ctrl-C: the target is left quiet first
    try:
        talk = _talk(bench, site, secret, keep_to)
        certificate = _try(talk, wanted)
    finally:
        bench.close()
    _tell(certificate, report, json)


def _may_write(report: Path) -> None:
    """Said before minutes of trying, and not after them."""
    folder = report.absolute().parent
    if report.suffix.lower() not in ENDINGS:
        raise BadInput(
            f"{report} has no ending of a report.", expected=" or ".join(ENDINGS), remedy="Print the .html to a PDF."
        )
    if not folder.is_dir():
        raise BadInput(f"There is no folder {folder}.", remedy="Make it, or name another.")
    there = report.exists()
    try:
        report.open("a").close()
        if not there:
            report.unlink()
    except OSError as error:
        raise BadInput(
            f"{report} cannot be written: {error.strerror or error}.",
            expected="a file",
            remedy="Name another, or give the right to it.",
        ) from None


def _only(ids: list[str]) -> tuple[Requirement, ...]:
    from fieldctl.certify.requirements import BY_ID, REQUIREMENTS

    if unknown := [i for i in ids if i not in BY_ID]:
        raise BadInput(
            f"There is no requirement {unknown[0]!r}.",
            expected="ids as in the list",
            remedy="Look at them with fieldctl certify --list.",
        )
    return tuple(r for r in REQUIREMENTS if r.id in ids) if ids else REQUIREMENTS


# ---- the line ---------------------------------------------------------------------------------------------------


def _bench(
    port: str, socket: str, mqtt: str, password_file: Path | None, target: str, door: SideDoor
) -> tuple[Bench, int | None]:
    """The line to the target, and the address to keep to."""
    from fieldctl.certify import live
    from fieldctl.certify.address import host_and_port
    from fieldctl.cli.outside import SystemClock
    from fieldctl.units import target_address, target_id

    try:
        named = target_id(target) if target else None
    except ValueError as error:
        raise BadInput(f"{error}.", remedy="Give the last eight digits of the hardware id on its label.") from None
    now = SystemClock().now
    address = target_address(named) if named else None
    if port:
        return live.over_port(port, now, door), address
    if socket:
        try:
            host, number = host_and_port(socket)
        except ValueError:
            raise BadInput(
                f"{socket!r} is no address.",
                expected="HOST:PORT, the port from 1 to 65535",
                remedy="Such as 127.0.0.1:4570 or [::1]:4570.",
            ) from None
        return live.over_socket(host, number, now, door), address
    if named is None:
        raise BadInput("A broker carries many targets.", expected="--target ID", remedy="Name the one to try.")
    at, word = _broker(mqtt, password_file)
    return live.over_broker(at, word, named, now, door), address


def _broker(url: str, password_file: Path | None) -> tuple[BrokerAt, str]:
    from urllib.parse import urlsplit

    from fieldctl.cli.outside import read_password
    from fieldctl.links.broker_at import BrokerAt, Tls

    try:
        parts = urlsplit(url)
        number = parts.port
    except ValueError:  # a bracket that is not closed, a port beyond 65535
        parts, number = urlsplit(""), 0
    word = parts.path.strip("/")
    if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname or not word or number == 0 or parts.password:
        raise BadInput(
            f"{url!r} names no broker.",
            expected="mqtt://USER@HOST:PORT/SITE-WORD, mqtts:// for TLS, the password in a file",
            remedy="Such as mqtt://controller@127.0.0.1:1883/larch-hollow --password-file private/broker.",
        )
    tls = Tls() if parts.scheme == "mqtts" else None
    password = read_password(password_file) if password_file is not None else ""
    usual = MQTTS_PORT if tls else MQTT_PORT
    return BrokerAt(parts.hostname, number or usual, parts.username or "controller", password, tls), word


def _door(where: str, by_hand: bool) -> SideDoor:
    from fieldctl.certify.side_door import Both, ByHand, Shut, Socketed

    hand: SideDoor = ByHand(_hand) if by_hand else Shut()
    return Both(Socketed(where), hand) if where else hand


def _hand(request: str) -> None:
    """Ask the operator, on stderr, and wait for Enter."""
    print(f"\n>>> {request} ", end="", file=sys.stderr, flush=True)
    if not sys.stdin.readline():
        raise KeyboardInterrupt


# ---- the keys ---------------------------------------------------------------------------------------------------


def _talk(bench: Bench, site: Path, secret: bytes | None, address: int | None) -> Talk:
    """The conversation: under keys of this bench, or under the site's."""
    if secret is not None:
        from fieldctl.certify.joining import join
        from fieldctl.units import EVERYBODY

        everybody = EVERYBODY if address is None else address
        return join(bench, secret, secrets.token_bytes, everybody, lambda: _press(bench))
    assert address is not None  # asked for before
    return _with_site_keys(bench, site, address)


def _with_site_keys(bench: Bench, site: Path, address: int) -> Talk:
    from fieldctl.certify.talk import Silent, Talk
    from fieldctl.cli.outside import read_key
    from fieldctl.units import target_from_address
    from fieldctl.wire.seal import derive_keys

    try:
        key = read_key(site)
    except NotFound as error:
        raise NotFound(
            error.what, expected="a site's folder, or the label's secret", remedy="Give --site DIR or --secret-file."
        ) from None
    for version in range(1, KEY_VERSIONS + 1):
        talk = Talk(bench, address, derive_keys(key, address, version), secrets.token_bytes)
        try:
            talk.open(bench.answer_us)
        except Silent:
            continue
        if talk.oddities["bad-tag"] == 0:
            return talk
    raise Unreachable(
        f"No answer from target {target_from_address(address)} under the keys of this site.",
        expected="a target of this site at the end of this line, powered",
        remedy="Look at power, line and id; a target of another site is tried with --secret-file.",
    )


def _secret(file: Path) -> bytes:
    text = sys.stdin.readline() if str(file) == "-" else file.read_text(encoding="ascii", errors="replace")
    try:
        found = bytes.fromhex(text.strip())
    except ValueError:
        found = b""
    if len(found) != 16:
        raise BadInput(
            f"{file} holds no factory secret.",
            expected="32 hexadecimal digits",
            remedy="Copy the secret from the target's label.",
        )
    return found


def _press(bench: Bench) -> None:
    if "press" in bench.door.offers:
        bench.door.do("press")
    else:
        from fieldctl.certify.joining import PRESS_WITHIN_US

        show.say(f"Press the target's button within {PRESS_WITHIN_US // US_PER_S} s, or hold a magnet to it.")


# ---- trying and telling -----------------------------------------------------------------------------------------


def _try(talk: Talk, wanted: tuple[Requirement, ...]) -> Certificate:
    from fieldctl.certify.run import Row, certify
    from fieldctl.certify.talk import Failed, Silent

    on_terminal = sys.stderr.isatty()

    def progress(what: Row | Requirement, number: int, of: int) -> None:
        if isinstance(what, Row):
            _progress_row(what, of, on_terminal)
        elif on_terminal:
            print(f"\r\x1b[K{number}/{of} {what.id}", end="", file=sys.stderr, flush=True)

    try:
        return certify(talk, requirements=wanted, progress=progress)
    except Silent as silent:
        raise Unreachable(
            f"The target does not answer: {silent}.",
            expected="a target at the end of this line, powered",
            remedy="Look at power and line, and try again.",
        ) from None
    except Failed as failed:
        raise Refused(
            f"The target cannot be tried: {failed}.", expected="a target to talk to", remedy="Give it new keys."
        ) from None
    finally:
        if on_terminal:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)


def _progress_row(row: Row, of: int, on_terminal: bool) -> None:
    if row.verdict == "failed" or (not on_terminal and row.number % 10 == 0):
        start = "\r\x1b[K" if on_terminal else ""
        show.say(
            f"{start}{row.number}/{of} {row.requirement.id}: {row.verdict}" + (f": {row.seen}" if row.seen else "")
        )


def _tell(certificate: Certificate, report: Path | None, json: bool) -> NoReturn:
    from fieldctl.certify import report as page
    from fieldctl.cli.outside import SystemClock

    at = SystemClock().wall()
    if json:
        show.as_json(page.as_json(certificate, at))
    else:
        show.lines(page.as_lines(certificate, at))
    sys.stdout.flush()  # first of all: what took minutes is not lost with a disk that is full
    if report is not None:
        html = report.suffix.lower() in HTML
        text = page.as_html(certificate, at) if html else "\n".join(page.as_lines(certificate, at)) + "\n"
        try:
            report.write_text(text, encoding="utf-8")
        except OSError as error:
            show.say(
                f"{report} could not be written: {error.strerror or error}. Keep what was printed: it says the same."
            )
            raise typer.Exit(EXIT_FAILURE) from None
        show.say(f"Written: {report}")
    result = page.result(certificate)
    raise typer.Exit({"passed": os.EX_OK, "in part": EXIT_PARTLY}.get(result, EXIT_FAILURE))
