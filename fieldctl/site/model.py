"""What is buried where, and by which links it is reached: frozen values, read from files by `fieldctl.site.files`.

Places are in metres of the site's own plane: x to the east and y to the north where the site has an origin, any two
directions at right angles where it has none. Nothing here needs satellite positions.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from fieldctl.units import TargetId

USUAL_GRANT_S = 30  # a grant ends this far ahead unless renewed (design, section 6)
USUAL_BAUD = 115_200  # keeps bus chatter away from 457 kHz (facts: a bus beside people who search)


@dataclass(frozen=True, slots=True)
class Origin:
    """Where the site's zero lies on the earth (WGS 84), and how high: metres on a mountain are longer than at sea."""

    lat_deg: float
    lon_deg: float
    height_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Stake:
    """A reference point that can be found in the snow, to measure from."""

    name: str
    x_m: float
    y_m: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class Zone:
    """A named part of the site; the outline may be empty where nobody drew one."""

    name: str
    title: str
    outline_m: tuple[tuple[float, float], ...] = ()

    def off_by_m(self, x_m: float, y_m: float) -> float:
        """How far a point lies outside the outline; 0 inside, or where there is no outline."""
        if not self.outline_m or _inside(self.outline_m, x_m, y_m):
            return 0.0
        return to_line_m(self.outline_m, x_m, y_m)


@dataclass(frozen=True, slots=True)
class Axis:
    """The way a transmitter's coil points: azimuth clockwise from +y, tilt from upright (0) to lying (90)."""

    azimuth_deg: float
    tilt_deg: float


@dataclass(frozen=True, slots=True)
class Place:
    """Where one target lies, as it was surveyed, with the place's own ±."""

    target: TargetId
    name: str
    zone: str
    x_m: float
    y_m: float
    depth_m: float  # below the surface of the day it was surveyed
    axis: Axis | None = None  # None where nobody noted it
    plus_minus_m: float = 0.5
    snow_m: float | None = None  # how deep the snow was there on the day it was surveyed
    surveyed_on: datetime.date | None = None
    method: str = ""
    note: str = ""
    link: str = ""  # the link it is looked for on; "" where it is on whichever link it answers
    source: str = ""  # the file that said so
    depth_on: datetime.date | None = None  # when depth and snow were measured, where that was before this survey


@dataclass(frozen=True, slots=True)
class ManualUnit:
    """A transmitter that people bury by hand: counted out and in, never switched from here."""

    name: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Post:
    """A post at the field's edge: its button starts the walk-in of its zone; held, it is all off. Never a burial."""

    target: TargetId
    name: str
    zone: str


@dataclass(frozen=True, slots=True)
class SerialLink:
    """A multi-drop bus on a serial port, with the controller as its only master."""

    name: str
    port: str


@dataclass(frozen=True, slots=True)
class MqttLink:
    """A broker for powered units and far zones; the password lives in a file of its own."""

    name: str
    host: str
    port: int = 1883
    tls: bool = False
    user: str = ""
    password_file: str = ""
    ca_file: str = ""


@dataclass(frozen=True, slots=True)
class Polling:
    """How often targets are asked: at rest, in an exercise, and while a signal is searched for (the quiet bus)."""

    idle_s: float = 1.0  # targets asked once a second keep their ± within 2 ms (design, section 9)
    exercise_s: float = 0.1  # the ring of the targets in an exercise takes at most 100 ms (design, section 5)
    quiet_s: float = 0.2  # bus chatter is a radio source: while people search, no more than screen and ± need


@dataclass(frozen=True, slots=True)
class Limits:
    """Ends that hold where a drill names none."""

    exercise_s: float = 3600.0  # an exercise that nobody watches ends by itself
    burial_s: float = 3600.0  # no grant is ever renewed past this


@dataclass(frozen=True, slots=True)
class Pages:
    """Where the phone pages are served: address, port (0: any free one), the host names that count, a certificate."""

    listen: str = "0.0.0.0"  # the site's network: whoever can reach it may order all off
    port: int = 8457
    names: tuple[str, ...] = ()  # besides this machine's own name and plain addresses
    certificate: str = ""  # files in the site's folder; without them plain HTTP, in limited mode
    certificate_key: str = ""


CHEMISTRIES = ("alkaline", "lithium-fr6", "lithium-thionyl", "li-ion", "lifepo4", "lead-acid")
"""The batteries that `fieldctl.upkeep.curves` knows (a test holds the two together)."""


@dataclass(frozen=True, slots=True)
class Battery:
    """What a target runs on: cells in series, the printed charge of one string, and what its board asks of it.

    `least_v`: under the test load, below it the target refuses to send; None for the chemistry's own end. `change_at`:
    a share at which whoever wants a plain threshold changes it, whatever the forecast says; None to follow that alone.
    """

    chemistry: str
    cells: int
    capacity_ah: float
    load_a: float = 0.12  # of the target's own test load, which volts under load are measured with
    least_v: float | None = None
    change_at: float | None = None


PROBE_IN_HANDS_M = 0.3
"""What of a probe stays in the hands, as `fieldctl.physics.probing` has it (a test holds the two together)."""


@dataclass(frozen=True, slots=True)
class UpkeepRules:
    """What the forecast needs of the calendar: until when the field must last, hours and exercises of a usual day."""

    closing_day: datetime.date | None = None
    open_hours: float = 8.0  # until the log has days of its own
    exercises: float = 8.0
    expected_c: float | None = None  # at the batteries on a cold day; None: as they measured it themselves
    kit_days: float = 30.0  # after which the base's supply and the club's kit are to be looked at again
    dig_min: float = 20.0  # to get at one and make the place good again: nobody digs twice for a week's charge
    probe_m: float = 2.4  # of the probes that searchers carry; 2 to 2.5 m is handy (common practice)

    @property
    def reach_m(self) -> float:
        """How deep such a probe reaches."""
        return self.probe_m - PROBE_IN_HANDS_M


@dataclass(frozen=True, slots=True)
class NoGo:
    """A line that grooming machines stay outside of, as the site draws it."""

    name: str
    title: str
    outline_m: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Grooming:
    """How machines keep clear of targets. `lines` of the site's own; without any, one goes around each zone's targets.

    Margin and blade are common practice without a source: whoever drives the machine knows better.
    """

    margin_m: float = 5.0  # half a blade of about 5 m, and as much for the driver's own ±
    blade_m: float = 0.5  # how deep blade and tiller go, with the sag under the tracks
    lines: tuple[NoGo, ...] = ()


KIT_KINDS = ("transceiver", "probe", "shovel", "radio", "lamp", "other")
"""What a club lends out; kinds that run on something are told of by their battery."""


@dataclass(frozen=True, slots=True)
class Kit:
    """One piece of the club's loan kit, or (kind "base") the base station with its own supply.

    The battery is None where there is none, or where nobody said which.
    """

    name: str
    kind: str
    note: str = ""
    battery: Battery | None = None


SURVIVAL_STUDIES = ("falk-1994", "brugger-2001", "haegeli-2011-canada", "procter-2016", "rauch-2024")
"""The studies that `fieldctl.physics.survival` holds, by their keys (a test holds the two together)."""


@dataclass(frozen=True, slots=True)
class DebriefRules:
    """What a debrief may show: a published survival curve, off unless the site names its study, and how long digging
    is taken to last where no airway was tapped (None: nothing is assumed)."""

    survival: str | None = None
    digging_s: float | None = None


@dataclass(frozen=True, slots=True)
class Alerts:
    """Where alarms are sent as they are raised and cleared: one address of the club's own; "" for nowhere."""

    webhook: str = ""


@dataclass(frozen=True, slots=True)
class People:
    """How many days after somebody was named last the name is kept; then the id alone is. None: until asked for."""

    keep_names_days: int | None = 400  # this winter, and well into the next one


@dataclass(frozen=True, slots=True)
class Site:
    """One practice field. `places` has one place a target, the latest surveyed; `history` the earlier ones."""

    name: str
    title: str
    language: str = "en"
    origin: Origin | None = None
    zones: tuple[Zone, ...] = ()
    stakes: tuple[Stake, ...] = ()
    places: tuple[Place, ...] = ()
    history: tuple[Place, ...] = ()
    manual: tuple[ManualUnit, ...] = ()
    posts: tuple[Post, ...] = ()
    serial: tuple[SerialLink, ...] = ()
    mqtt: tuple[MqttLink, ...] = ()
    grant_s: int = USUAL_GRANT_S
    polling: Polling = Polling()
    limits: Limits = Limits()
    pages: Pages = Pages()
    debrief: DebriefRules = DebriefRules()
    people: People = People()
    alerts: Alerts = Alerts()
    upkeep: UpkeepRules = UpkeepRules()
    grooming: Grooming = Grooming()
    usual_battery: Battery | None = None
    batteries: tuple[tuple[TargetId, Battery], ...] = ()
    kit: tuple[Kit, ...] = ()  # the base station first where it has a supply of its own

    def battery(self, target: TargetId) -> Battery | None:
        """What a target runs on as the file says; None where it says nothing."""
        return dict(self.batteries).get(target, self.usual_battery)

    @property
    def targets(self) -> tuple[TargetId, ...]:
        """Every target of the site in the order of the file."""
        return tuple(place.target for place in self.places)

    def place(self, target: TargetId) -> Place:
        """Where a target lies; KeyError when it is not of this site."""
        for place in self.places:
            if place.target == target:
                return place
        raise KeyError(target)

    def zone(self, name: str) -> Zone:
        """The zone of that name; KeyError when there is none."""
        for zone in self.zones:
            if zone.name == name:
                return zone
        raise KeyError(name)

    def zone_of(self) -> dict[TargetId, str]:
        """The zone of each target."""
        return {place.target: place.zone for place in self.places}


def _inside(outline: tuple[tuple[float, float], ...], x: float, y: float) -> bool:
    """Even-odd rule: a ray to the east crosses the outline an odd number of times."""
    odd = False
    for (x1, y1), (x2, y2) in zip(outline, outline[1:] + outline[:1], strict=True):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) * (x2 - x1) / (y2 - y1):
            odd = not odd
    return odd


def to_line_m(outline: tuple[tuple[float, float], ...], x_m: float, y_m: float) -> float:
    """How far a point lies from a closed outline of one point or more, inside or outside."""
    corners = zip(outline, outline[1:] + outline[:1], strict=True)
    return min(_to_edge(a, b, x_m, y_m) for a, b in corners)


def _to_edge(a: tuple[float, float], b: tuple[float, float], x: float, y: float) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    length = dx * dx + dy * dy
    along = 0.0 if length == 0 else max(0.0, min(1.0, ((x - a[0]) * dx + (y - a[1]) * dy) / length))
    ex, ey = x - a[0] - along * dx, y - a[1] - along * dy
    return float((ex * ex + ey * ey) ** 0.5)
