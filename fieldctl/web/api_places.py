"""Where targets lie and how deep the snow is, as the API's document names them."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from fieldctl.web.api_shapes import Answer


class FromStake(Answer):
    """The way to a target from a stake."""

    stake: str
    bearing_deg: float = Field(description="Clockwise from the site's y, which is north where it has an origin.")
    distance_m: float = Field(description="Level.")
    note: str


class Where(Answer):
    """Where a target lies: metres of the site's plane, degrees on the earth, its depth today with its bounds."""

    zone: str
    x_m: float
    y_m: float
    plus_minus_m: float
    lat_deg: float | None
    lon_deg: float | None
    surveyed_on: str | None
    note: str
    from_stakes: list[FromStake] = Field(description="Nearest first.")
    depth_m: float | None = Field(description="Today; null where it cannot be said, for the reasons named.")
    depth_least_m: float | None
    depth_most_m: float | None
    surveyed_depth_m: float
    depth_why: list[str] = Field(description="What widens the bounds, or keeps the depth from being said.")
    snow_m: float | None
    snow_on: str | None
    came_m: float | None = Field(description="From its place of an earlier day.")
    came_bearing_deg: int | None
    came_days: int | None
    came_plus_minus_m: float | None
    moved_on: str | None = Field(description="Put elsewhere on that day without a survey: all this is its last place.")
    moved_notes: str


class Located(Answer):
    """Where a target lies and how to find it, and whether it may send to be found."""

    target: str
    name: str
    place: str
    where: Where | None = Field(description="Null for a post, and for what was never surveyed.")
    sending: bool
    ends_in_s: int | None = None


class LocateEnded(Answer):
    """A target that was sending to be found, and may not any more."""

    target: str
    sending: Literal[False]


class Moved(Answer):
    """A target that was put elsewhere without a survey, and its last place."""

    target: str
    name: str
    day: str
    place: str


class SnowKept(Answer):
    """A reading of the snow as it is kept; `again` where the log had it already."""

    day: str
    zone: str | None
    snow_m: float
    again: bool


class SnowTakenIn(Answer):
    """What became of a file of readings."""

    file: str
    readings: int
    new: int
    in_place_of: int = Field(description="Another figure for a day and zone that had one: the new one counts.")
    again: int = Field(description="Had already.")


class SnowReading(Answer):
    """How deep the snow was."""

    day: str
    zone: str | None
    snow_m: float
    source: str


class SnowReadings(Answer):
    """The latest readings of the snow, newest first."""

    readings: list[SnowReading]
    left_off: int
    undated: int
