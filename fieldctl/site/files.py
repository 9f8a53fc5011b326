"""Reading site.toml, and the surveys beside it: text in, one `Site` out, or all faults at once.

    read_site(text, file, surveys)   pure: the texts are given
    load_site(folder)                reads <folder>/site.toml and <folder>/surveys/*.{csv,geojson,gpx}

The program never writes site.toml. What was measured later lies in `surveys/`, one file for each time that somebody
went out: the later date wins, and the earlier place is kept in the site's history.
"""

from __future__ import annotations

import datetime
import pathlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from fieldctl.errors import Fault, FileFaults, NotFound
from fieldctl.site.alerts import wrong_webhook
from fieldctl.site.model import (
    SURVIVAL_STUDIES,
    USUAL_BAUD,
    USUAL_GRANT_S,
    Alerts,
    Battery,
    DebriefRules,
    Grooming,
    Kit,
    Limits,
    ManualUnit,
    MqttLink,
    NoGo,
    Origin,
    Pages,
    People,
    Place,
    Polling,
    Post,
    SerialLink,
    Site,
    Stake,
    Zone,
)
from fieldctl.site.no_go import crosses_itself
from fieldctl.site.placing import DEEP_M, FAR_M, check_place, read_axis, read_point, target_in
from fieldctl.site.survey import SURVEY_KINDS, Known, SurveyText, read_survey
from fieldctl.site.upkeep_file import KIT_MOST, read_battery, read_kit, read_rules, with_base
from fieldctl.tomlfile import SIZE_LIMIT, Table, read_toml, suggestion
from fieldctl.units import TargetId

SITE_FILE = "site.toml"
SURVEY_FOLDER = "surveys"

TARGETS_MOST = 256  # what one controller is measured with (design, section 9)
GRANT_S = (5, 120)  # under 5 s a lost poll or two ends a signal; over 120 s a lost controller keeps one too long

_Named = TypeVar("_Named", Zone, NoGo, Stake, ManualUnit, Post, SerialLink, MqttLink, Kit)


def load_site(folder: pathlib.Path) -> Site:
    """Read the site in a folder; NotFound without site.toml, FileFaults with every fault of every file."""
    path = folder / SITE_FILE
    if not path.is_file():
        raise NotFound(
            f"There is no {SITE_FILE} in {folder}.",
            expected="the folder of a site",
            remedy=f"Name it with --site DIR, or begin one: fieldctl site new {folder}",
        )
    surveys = [
        SurveyText(f"{SURVEY_FOLDER}/{found.name}", read_text(found, f"{SURVEY_FOLDER}/{found.name}"))
        for found in sorted((folder / SURVEY_FOLDER).glob("*"))
        if found.suffix.lower() in SURVEY_KINDS and found.is_file()
    ]
    return read_site(read_text(path, SITE_FILE), SITE_FILE, surveys)


def read_text(path: pathlib.Path, name: str) -> str:
    """The text of one file of a site (UTF-8, with or without a mark at its start); FileFaults where it is none."""
    most = 4 * SIZE_LIMIT  # bytes; no letter takes more than four
    try:
        with path.open("rb") as file:
            data = file.read(most + 1)
    except OSError as error:
        wrong, expected = f"it cannot be read: {error.strerror}", "a file that this user may read"
        raise FileFaults([Fault(name, 0, "(the file)", wrong, expected, "Look at its owner and its mode.")]) from None
    if len(data) > most:
        wrong, expected = f"it has more than {most} bytes", f"at most {most}"
        raise FileFaults([Fault(name, 0, "(the file)", wrong, expected, "Check that this is the right file.")])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        wrong = f"byte {data[error.start]:#04x} is no text in UTF-8"
        raise FileFaults(
            [Fault(name, line, "(the file)", wrong, "text in UTF-8", "Save the file again as UTF-8.")]
        ) from None


def read_site(text: str, file: str = SITE_FILE, surveys: Sequence[SurveyText] = ()) -> Site:
    """The site that a text and its surveys describe; FileFaults with all faults of all of them."""
    root = read_toml(text, file)
    site = _site(root)
    found = list(root.faults.all())
    known = Known.of(site)
    surveyed: list[Place] = []
    for survey in surveys:
        try:
            places = read_survey(survey, known)
        except FileFaults as error:
            found += error.faults
            continue
        surveyed += places
        known = known.also(places)
    if len(known.places) > TARGETS_MOST:
        wrong = f"with its surveys the site has {len(known.places)} targets"
        remedy = "Take out surveys of targets that are no longer there."
        found.append(Fault(file, 0, "target", wrong, f"at most {TARGETS_MOST}", remedy))
    if found:
        raise FileFaults(found)
    return _merged(site, surveyed)


def _merged(site: Site, surveyed: Iterable[Place]) -> Site:
    """The site with each target at the place that was surveyed last; the others become history."""
    by_target: dict[TargetId, list[Place]] = {place.target: [place] for place in site.places}
    for place in surveyed:
        by_target.setdefault(place.target, []).append(place)
    latest, history = [], []
    for places in by_target.values():
        # sorted is stable: of one date, the file that comes later by name wins
        ordered = sorted(places, key=lambda place: place.surveyed_on or datetime.date.min)
        last = ordered[-1]
        link = last.link or next((place.link for place in reversed(ordered) if place.link), "")
        latest.append(replace(last, link=link))
        history += ordered[:-1]
    return replace(site, places=tuple(latest), history=tuple(history))


def _site(root: Table) -> Site:
    origin = root.table("origin")
    polling = root.table("polling")
    limits = root.table("limits")
    zones = _distinct(root, "zone", [_zone(t) for t in root.tables("zone", most=50)])
    serial = _distinct(root, "serial", [_serial(t) for t in root.tables("serial", most=16)])
    mqtt = _distinct(root, "mqtt", [_mqtt(t) for t in root.tables("mqtt", most=16)])
    links = [link.name for link in serial] + [link.name for link in mqtt]
    for index, link in enumerate(mqtt):
        if link.name and link.name in [s.name for s in serial]:
            table = root.tables("mqtt", most=16)[index]
            table.fault(
                "name",
                f"a serial link is called {link.name!r} too",
                expected="a name of its own for each link",
                remedy="Give one of the two another name.",
            )
    batteries: dict[TargetId, Battery] = {}
    places = _places(root, zones, links, batteries)
    site = Site(
        name=root.slug("name"),
        title=root.text("title"),
        language=root.slug("language", "en"),
        origin=_origin(origin) if isinstance(root.values.get("origin"), Mapping) else None,
        zones=zones,
        stakes=_distinct(root, "stake", [_stake(t) for t in root.tables("stake", most=100)]),
        manual=_distinct(root, "manual", [_manual(t) for t in root.tables("manual", most=50)]),
        posts=_posts(root, zones, places),
        serial=serial,
        mqtt=mqtt,
        places=places,
        grant_s=root.whole("grant_s", *GRANT_S, USUAL_GRANT_S, unit="seconds"),
        polling=Polling(
            idle_s=polling.number("idle_s", 0.1, 60, Polling().idle_s, unit="seconds"),
            exercise_s=polling.number("exercise_s", 0.05, 5, Polling().exercise_s, unit="seconds"),
            quiet_s=polling.number("quiet_s", 0.05, 5, Polling().quiet_s, unit="seconds"),
        ),
        limits=Limits(
            exercise_s=limits.number("exercise_min", 1, 240, Limits().exercise_s / 60, unit="minutes") * 60,
            burial_s=limits.number("burial_min", 1, 240, Limits().burial_s / 60, unit="minutes") * 60,
        ),
        pages=_pages(root.table("pages")),
        debrief=_debrief(root.table("debrief")),
        people=_people(root.table("people")),
        alerts=_alerts(root.table("alerts")),
        upkeep=read_rules(root.table("upkeep")),
        grooming=_grooming(root),
        usual_battery=read_battery(root.table("battery")) if root.has("battery") else None,
        batteries=tuple(batteries.items()),
        kit=with_base(root, _distinct(root, "kit", [read_kit(t) for t in root.tables("kit", most=KIT_MOST)])),
    )
    for table in (root, polling, limits):
        table.done()
    return site


def _pages(table: Table) -> Pages:
    usual = Pages()
    pages = Pages(
        listen=table.text("listen", usual.listen, expected="an address of this machine, such as 0.0.0.0 for all"),
        port=table.whole("port", 0, 65535, usual.port),
        names=tuple(word.lower() for word in table.text("names", "").replace(",", " ").split()),
        certificate=table.text("certificate", ""),
        certificate_key=table.text("certificate_key", ""),
    )
    if bool(pages.certificate) != bool(pages.certificate_key):
        table.fault(
            "certificate",
            "one of certificate and certificate_key is missing",
            expected="both, or neither for plain HTTP in limited mode",
            remedy="Name both files, as paths in the site's folder.",
        )
    table.done()
    return pages


def _debrief(table: Table) -> DebriefRules:
    digging_min = table.number("digging_min", 0.5, 120, None, unit="minutes")
    study = table.choice("survival", SURVIVAL_STUDIES) if table.has("survival") else None
    table.done()
    return DebriefRules(study, None if digging_min is None else digging_min * 60)


def _people(table: Table) -> People:
    days = table.whole("keep_names_days", 0, 36_500, People().keep_names_days, unit="days")
    table.done()
    return People(days or None)


def _alerts(table: Table) -> Alerts:
    url = table.text("webhook", "")
    wrong = wrong_webhook(url) if url else ""
    if wrong:
        table.fault(
            "webhook",
            wrong,
            expected="the address of a web server by TLS (https), or without (http) on the site's own network",
            remedy="Give such an address, or leave the line out.",
        )
    table.done()
    return Alerts(url)


def _grooming(root: Table) -> Grooming:
    table, usual = root.table("grooming"), Grooming()
    rules = Grooming(
        margin_m=table.number("margin_m", 0, 100, usual.margin_m, unit="metres"),
        blade_m=table.number("blade_m", 0, 3, usual.blade_m, unit="metres"),
        lines=_distinct(root, "no_go", [_no_go(t) for t in root.tables("no_go", most=50)]),
    )
    table.done()
    return rules


def _no_go(table: Table) -> NoGo:
    name = table.slug("name")
    line = NoGo(name, table.text("title", name), table.points("outline_m", -FAR_M, FAR_M))
    if "outline_m" not in table.values:
        table.fault(
            "outline_m",
            "it is missing",
            expected="three points or more in metres, such as [[0, 0], [60, 0], [60, 40]]",
            remedy="Draw the line, or take the table out: then it goes around the targets of each zone.",
        )
    crossing = crosses_itself(line.outline_m)
    if crossing is not None:
        table.fault(
            "outline_m",
            f"its sides {crossing[0]} and {crossing[1]} cross, so nobody can tell what is inside",
            expected="corners in the order in which one walks along the line",
            remedy="Put the corners in order.",
        )
    table.done()
    return line


def _distinct(root: Table, key: str, rows: list[_Named]) -> tuple[_Named, ...]:
    """Rows whose names are all different; a name that stands twice is a fault of the later one."""
    seen: set[str] = set()
    for index, row in enumerate(rows):
        if row.name and row.name in seen:
            root.tables(key, most=len(rows))[index].fault(
                "name",
                f"{row.name!r} stands here a second time",
                expected="a name of its own for each",
                remedy="Give one of the two another name.",
            )
        seen.add(row.name)
    return tuple(rows)


def _origin(table: Table) -> Origin:
    origin = Origin(
        lat_deg=table.number("lat_deg", -85, 85, unit="degrees north"),
        lon_deg=table.number("lon_deg", -180, 180, unit="degrees east"),
        height_m=table.number("height_m", -500, 9000, 0.0, unit="metres"),
    )
    table.done()
    return origin


def _zone(table: Table) -> Zone:
    name = table.slug("name")
    zone = Zone(name, table.text("title", name), table.points("outline_m", -FAR_M, FAR_M))
    table.done()
    return zone


def _stake(table: Table) -> Stake:
    stake = Stake(
        name=table.text("name"),
        x_m=table.number("x_m", -FAR_M, FAR_M, unit="metres"),
        y_m=table.number("y_m", -FAR_M, FAR_M, unit="metres"),
        note=table.text("note", ""),
    )
    table.done()
    return stake


def _manual(table: Table) -> ManualUnit:
    unit = ManualUnit(table.text("name"), table.text("note", ""))
    table.done()
    return unit


def _posts(root: Table, zones: Sequence[Zone], places: Sequence[Place]) -> tuple[Post, ...]:
    """Each post once, in a zone of this site, and none that is a buried target too."""
    buried = [place.target for place in places]
    posts: list[Post] = []
    for table in root.tables("post", most=50):
        target = target_in(table, "id")
        post = Post(target, table.text("name", target or "?"), table.slug("zone"))
        if post.zone and post.zone not in [zone.name for zone in zones]:
            near = suggestion(post.zone, [zone.name for zone in zones])
            table.fault(
                "zone",
                f"there is no zone {post.zone!r}" + (f"; did you mean {near!r}?" if near else ""),
                expected="the name of a [[zone]] of this file",
                remedy="Name one of those, or add the zone.",
            )
        if target and (target in buried or target in [other.target for other in posts]):
            table.fault(
                "id",
                f"{target} stands in this file a second time",
                expected="each id once: a post is no buried target",
                remedy="Take one of the two out.",
            )
        posts.append(post)
        table.done()
    return _distinct(root, "post", posts)


def _serial(table: Table) -> SerialLink:
    link = SerialLink(
        name=table.slug("name"),
        port=table.text("port", expected="the path of a serial port, such as /dev/ttyUSB0"),
    )
    if table.whole("baud", 1, 10_000_000, USUAL_BAUD) != USUAL_BAUD:
        table.fault(
            "baud",
            "the bus has one speed: its chatter has a zero near 457 kHz there",
            expected=f"{USUAL_BAUD}, or nothing",
            remedy="Leave the line out.",
        )
    table.done()
    return link


def _mqtt(table: Table) -> MqttLink:
    tls = table.flag("tls", False)
    link = MqttLink(
        name=table.slug("name"),
        host=table.text("host", expected="the name or address of a broker"),
        port=table.whole("port", 1, 65535, 8883 if tls else 1883),
        tls=tls,
        user=table.text("user", ""),
        password_file=table.text("password_file", ""),
        ca_file=table.text("ca_file", ""),
    )
    if "password" in table.values:
        table.has("password")
        table.fault(
            "password",
            "a password stands in this file, which people copy and print",
            expected="password_file with the path of a file that only this program may read",
            remedy="Write the password to a file of its own, mode 0600, and name that file in password_file.",
        )
    if link.ca_file and not tls:
        table.fault("ca_file", "it is given but tls is not true", expected="both or neither", remedy="Add tls = true.")
    table.done()
    return link


def _places(
    root: Table, zones: Sequence[Zone], links: Sequence[str], batteries: dict[TargetId, Battery]
) -> tuple[Place, ...]:
    """Each target's place; the battery of one that names its own goes into `batteries`."""
    usual = root.table("survey")
    day, method = usual.date("surveyed_on"), usual.text("method", "")
    snow_m = usual.number("snow_m", 0, 30, None, unit="metres")
    plus_minus_m = usual.number("plus_minus_m", 0.0, 50, 0.5, unit="metres")
    usual.done()
    places: list[Place] = []
    for table in root.tables("target", most=TARGETS_MOST):
        target = target_in(table, "id")
        x_m, y_m, measured = read_point(table)
        place = Place(
            target=target,
            name=table.text("name", target or "?"),
            zone=table.slug("zone"),
            x_m=x_m,
            y_m=y_m,
            depth_m=table.number("depth_m", 0, DEEP_M, unit="metres"),
            axis=read_axis(table),
            plus_minus_m=table.number("plus_minus_m", 0.0, 50, plus_minus_m, unit="metres"),
            snow_m=table.number("snow_m", 0, 30, snow_m, unit="metres"),
            surveyed_on=table.date("surveyed_on") or day,
            method=table.text("method", method),
            note=table.text("note", ""),
            link=table.slug("link", ""),
            source=root.faults.file,
        )
        check_place(table, place, zones, measured=measured)
        if table.has("battery"):
            batteries[target] = read_battery(table.table("battery"))
        if place.link and place.link not in links:
            near = suggestion(place.link, links)
            table.fault(
                "link",
                f"no link is called {place.link!r}" + (f"; did you mean {near!r}?" if near else ""),
                expected="the name of a [[serial]] or [[mqtt]] table of this file",
                remedy="Name one of those, or add the link.",
            )
        for other in places:
            if target and other.target == target:
                table.fault(
                    "id",
                    f"target {target} stands here a second time",
                    expected="each target once",
                    remedy="Take one of the two out; a later survey goes into the folder surveys.",
                )
            elif other.name == place.name:
                table.fault(
                    "name",
                    f"another target is called {place.name!r} too",
                    expected="a name of its own for each target",
                    remedy="Give one of the two another name.",
                )
        places.append(place)
        table.done()
    return tuple(places)
