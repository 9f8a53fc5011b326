"""Snow and place: readings of the snow, one or a file of them, and targets that were put elsewhere."""

from __future__ import annotations

import datetime
import math
from typing import TYPE_CHECKING, Any

from fieldctl.controller import snapshot
from fieldctl.controller.verbs_target import TargetVerbs
from fieldctl.controller.verbs_upkeep import NOTES_MOST, UpkeepVerbs
from fieldctl.errors import BadInput
from fieldctl.events import SnowMeasured
from fieldctl.site.snow import Reading
from fieldctl.site.snow_rows import SNOW_MOST_M, read_readings

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]

ROWS_MOST = 300  # of a file at once: the loop that keeps the field reads them; the command line sends it in parts
SHOWN = 60  # latest readings in a list


class SnowVerbs:
    """The verbs about snow and place."""

    def __init__(self, controller: Controller, targets: TargetVerbs, upkeep: UpkeepVerbs) -> None:
        self._c = controller
        self._targets = targets
        self._upkeep = upkeep

    async def measured(self, snow_m: float, by: str, zone: str | None = None, day: str = "") -> Row:
        """The snow was so deep on a day, in a zone or everywhere; another figure of that day takes its place."""
        if not (math.isfinite(snow_m) and 0 <= snow_m <= SNOW_MOST_M):
            raise BadInput(
                f"A snow depth of {snow_m:g} m cannot be right.",
                expected=f"metres, 0 to {SNOW_MOST_M:g}",
                remedy="Measure it at a stake, and give metres.",
            )
        names = [each.name for each in self._c.site.zones]
        if zone is not None and zone not in names:
            raise BadInput(
                f"There is no zone {zone!r}.", expected=", ".join(names), remedy="Name one of these, or none for all."
            )
        kept = self._upkeep.day_kept(day, self._c.outside.clock.wall())
        counts = await self._write([Reading(datetime.date.fromisoformat(kept), snow_m, zone)], by)
        return {"day": kept, "zone": zone, "snow_m": snow_m, "again": counts["again"] == 1}

    async def take_in(self, csv: str, file: str, by: str) -> Row:
        """Take in a file of readings (date, snow_m, zone); what the log has already counts once."""
        zones = [each.name for each in self._c.site.zones]
        if csv.count("\n") > ROWS_MOST + 1:
            raise BadInput(
                "The file is too long.", expected=f"at most {ROWS_MOST} rows at once", remedy="Send it in parts."
            )
        readings = read_readings(csv, file, zones, self._c.snow.today())
        return {"file": file, "readings": len(readings), **await self._write(readings, by)}

    async def _write(self, readings: list[Reading] | tuple[Reading, ...], by: str) -> dict[str, int]:
        """Write down what is new: counts of new readings, of others in place of earlier ones, of the same again."""
        last = {(each.day, each.zone): each.snow_m for each in self._c.snow.now.readings}
        person, here = self._c.person(by), self._c.outside.here()
        counts = {"new": 0, "in_place_of": 0, "again": 0}
        facts = []
        for each in readings:
            before = last.get((each.day, each.zone))
            if before == each.snow_m:
                counts["again"] += 1
                continue
            counts["new" if before is None else "in_place_of"] += 1
            facts.append(SnowMeasured(each.zone, each.day.isoformat(), each.snow_m, person, here, each.source))
        if facts:
            await self._c.write(*facts)
        return counts

    async def list_all(self) -> Row:
        """The latest readings, newest first; `left_off` counts earlier ones, `undated` those without a day."""
        snow = self._c.snow.now
        rows = sorted(snow.readings, key=lambda each: each.day, reverse=True)
        return {
            "readings": [
                {"day": each.day.isoformat(), "zone": each.zone, "snow_m": each.snow_m, "source": each.source}
                for each in rows[:SHOWN]
            ],
            "left_off": max(0, len(rows) - SHOWN),
            "undated": snow.undated,
        }

    async def moved(self, target: str, by: str, day: str = "", notes: str = "") -> Row:
        """A target was put elsewhere on that day without a survey: its place is not trusted until a newer survey."""
        known = self._targets.find(target)
        kept = self._upkeep.day_kept(day, self._c.outside.clock.wall())
        if len(notes) > NOTES_MOST:
            raise BadInput("The note is too long.", expected=f"at most {NOTES_MOST} letters", remedy="Shorten it.")
        facts = self._c.snow.put_elsewhere(known.target, self._c.person(by), kept, notes)
        if facts:
            await self._c.write(*facts)
        return {
            "target": known.target,
            "name": snapshot.label(self._c, known.target),
            "day": kept,
            "place": snapshot.place(self._c, known.target),
        }
