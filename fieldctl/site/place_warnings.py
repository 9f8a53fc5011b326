"""What to know of targets' places before a field opens, which keeps nobody from it: too deep, bare, put elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from fieldctl.site.checks import Problem
from fieldctl.site.day import Day
from fieldctl.site.model import Place, Site
from fieldctl.site.snow import Burial


def place_warnings(site: Site, day: Day, lies: Callable[[Place], Burial | str | None]) -> tuple[Problem, ...]:
    """Targets that lie too deep for a probe, or bare, or were put elsewhere on a day (`lies` then gives that day)."""
    return tuple(row for place in site.places if day.usable(place.target) for row in _place(site, place, lies(place)))


def _place(site: Site, place: Place, lies: Burial | str | None) -> Iterable[Problem]:
    label = f"target {place.target} ({place.name}, {place.zone})"
    if isinstance(lies, str):
        yield Problem(
            f"put-elsewhere:{place.target}",
            f"{label} was put elsewhere on {lies} without a survey: nobody knows where it lies.",
            "Find it with a receiver on the closed field, and survey it.",
        )
    elif lies is not None and lies.depth_m is not None:
        deep, least, most = (f"{each:.1f}" for each in (lies.depth_m, lies.least_m, lies.most_m))
        probe_m, reach_m = site.upkeep.probe_m, site.upkeep.reach_m
        if lies.deeper(reach_m) is not None:
            probe = f"a probe of {probe_m:g} m reaches {reach_m:.1f} m"
            yield Problem(
                f"too-deep:{place.target}",
                f"{label} lies about {deep} m deep ({least} to {most} m); {probe}.",
                "Take snow off, put it higher, or give out longer probes.",
            )
        if lies.shallower(0.0) is not None:
            yield Problem(
                f"bare:{place.target}",
                f"{label} may lie bare: about {deep} m of snow over it ({least} to {most} m).",
                "Look at its place and cover it before anybody goes there.",
            )
