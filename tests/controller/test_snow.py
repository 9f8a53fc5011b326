"""Snow and place through the verbs: readings count once, files with faults, targets put elsewhere, ways to them."""

from __future__ import annotations

import asyncio
import datetime
from dataclasses import replace

import pytest
from kit import ask, facts, ready, refused, sends, started, tell

from fieldctl.controller.verbs_snow import ROWS_MOST
from fieldctl.errors import BadInput, FileFaults
from fieldctl.events import DayOpened, SnowMeasured, TargetMoved
from fieldctl.site.model import Stake
from sims.field import Field

SURVEYED = datetime.date(2031, 1, 10)


def surveyed(made: Field) -> None:
    """Give every target of a simulated field the day of its survey and the snow of that day."""
    places = tuple(replace(place, snow_m=2.0, surveyed_on=SURVEYED) for place in made.site.places)
    made.site = replace(made.site, places=places, stakes=(Stake("red post", 0.0, -10.0),))


def snow_of(made: Field) -> list[tuple[str | None, str, float, str]]:
    return [(f.zone, f.day, f.snow_m, f.source) for f in facts(made, SnowMeasured)]


def test_a_reading_is_kept_once_and_another_takes_its_place() -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(5)
        zone = made.site.zones[0].name
        first = await ask(made, "snow-measured", snow_m=1.8, by="Mira", zone=zone)
        again = await ask(made, "snow-measured", snow_m=1.8, by="Jon", zone=zone)
        assert (first["again"], again["again"]) == (False, True)
        await ask(made, "snow-measured", snow_m=1.9, by="Mira", zone=zone)
        await ask(made, "snow-measured", snow_m=1.7, by="Mira", day="2020-01-02")
        assert [(row[2], row[0]) for row in snow_of(made)] == [(1.8, zone), (1.9, zone), (1.7, None)]
        listed = await ask(made, "snow-list")
        assert [row["snow_m"] for row in listed["readings"]] == [1.8, 1.9, 1.7]

    tell(story)


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        ({"snow_m": -0.1}, "cannot be right"),
        ({"snow_m": 31.0}, "cannot be right"),
        ({"snow_m": float("nan")}, "cannot be right"),
        ({"snow_m": 1.0, "zone": "nowhere"}, "no zone"),
        ({"snow_m": 1.0, "day": "2999-01-01"}, "still to come"),
        ({"snow_m": 1.0, "day": "yesterday"}, "no day"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_and_not_written(arguments: dict[str, object], word: str) -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(3)
        assert word in (await refused(made, "snow-measured", by="Mira", **arguments)).what
        assert snow_of(made) == []

    tell(story)


def test_a_file_counts_once_and_its_faults_come_all_at_once() -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(5)
        csv = "date,snow_m\n2020-01-01,1.0\n2020-01-02,1.1\n"
        first = await ask(made, "snow-import", csv=csv, file="winter.csv", by="Mira")
        again = await ask(made, "snow-import", csv=csv, file="again.csv", by="Mira")
        changed = await ask(made, "snow-import", csv=csv.replace("1.1", "1.3"), file="winter.csv", by="Mira")
        counts = [(row["new"], row["in_place_of"], row["again"]) for row in (first, again, changed)]
        assert counts == [(2, 0, 0), (0, 0, 2), (0, 1, 1)]
        before = snow_of(made)
        assert before[-1] == (None, "2020-01-02", 1.3, "winter.csv")
        bad = await refused(
            made, "snow-import", csv="date,snow_m,zone\nx,1,\n2020-01-03,99,nowhere\n", file="bad.csv", by="Mira"
        )
        assert isinstance(bad, FileFaults)
        assert [(fault.line, fault.key) for fault in bad.faults] == [
            (2, "row[1].date"),
            (3, "row[2].snow_m"),
            (3, "row[2].zone"),
        ]
        long = await refused(made, "snow-import", csv="date,snow_m\n" + "\n" * (ROWS_MOST + 9), file="a", by="Mira")
        assert isinstance(long, BadInput)
        assert snow_of(made) == before

    tell(story)


def test_the_depth_of_an_exercise_follows_the_snow_and_survives_a_restart() -> None:
    async def story(made: Field) -> None:
        surveyed(made)
        await ready(made)
        opened = facts(made, DayOpened)[-1].snow_m
        before = (await ask(made, "target-locate", target="Larch 1"))["where"]
        await ask(made, "snow-measured", snow_m=opened + 0.5, by="Mira")
        after = (await ask(made, "target-locate", target="Larch 1"))["where"]
        assert after["depth_m"] > before["depth_m"] + 0.2
        assert after["snow_m"] == opened + 0.5
        assert [way["stake"] for way in after["from_stakes"]] == ["red post"]
        assert (after["from_stakes"][0]["bearing_deg"], after["from_stakes"][0]["distance_m"]) == (0.0, 10.0)
        await made.kill()
        made.begin()
        await asyncio.sleep(5)
        again = (await ask(made, "target-locate", target="Larch 1"))["where"]
        assert again == after

    tell(story)


def test_a_target_put_elsewhere_says_so_wherever_it_is_named_and_its_depth_is_not_told() -> None:
    async def story(made: Field) -> None:
        surveyed(made)
        controller = await ready(made)
        target = controller.site.places[0].target
        row = await ask(made, "target-moved", target="Larch 1", by="Mira", notes="out of the cornice")
        assert row["place"].startswith("put elsewhere on ")
        await ask(made, "target-moved", target=target, by="Mira")
        assert len(facts(made, TargetMoved)) == 1  # said twice it counts once
        found = await ask(made, "target-locate", target=target)
        assert found["place"] == row["place"]
        assert found["where"]["moved_notes"] == "out of the cornice"
        assert found["where"]["depth_m"] is None
        listed = (await ask(made, "target-list"))["targets"]
        assert [each["place"].startswith("put elsewhere") for each in listed].count(True) == 1
        check = await ask(made, "exercise-check", drill="one", targets={"A": target})
        warned = [h for h in check["hindrances"] if h["key"] == f"put-elsewhere:{target}"]
        assert len(warned) == 1
        assert not warned[0]["blocks"]

    tell(story)


def test_a_swap_that_puts_a_target_elsewhere_leaves_its_survey_behind() -> None:
    async def story(made: Field) -> None:
        surveyed(made)
        await ready(made)
        await ask(made, "battery-swapped", target="Larch 1", by="Mira", day="2031-01-12")
        assert (await ask(made, "target-locate", target="Larch 1"))["where"]["moved_on"] is None
        await ask(made, "battery-swapped", target="Larch 1", by="Mira", day="2031-01-12", elsewhere=True)
        await ask(made, "battery-swapped", target="Larch 2", by="Mira", day="2031-01-09", elsewhere=True)
        older, newer = [(await ask(made, "target-locate", target=f"Larch {n}"))["where"]["moved_on"] for n in (1, 2)]
        assert older == "2031-01-12"  # its survey of the 10th is older than the swap
        assert newer is None  # and newer than this one
        assert len(facts(made, TargetMoved)) == 2

    tell(story)


def test_a_burial_too_deep_for_the_probes_or_bare_is_a_warning_with_a_remedy() -> None:
    async def story(made: Field) -> None:
        surveyed(made)
        await ready(made)
        for snow_m, key in ((9.0, "too-deep"), (0.0, "bare")):
            await ask(made, "snow-measured", snow_m=snow_m, by="Mira")
            check = await ask(made, "exercise-check", drill="one")
            warned = [h for h in check["hindrances"] if h["key"].startswith(key)]
            assert len(warned) == 1
            assert (warned[0]["blocks"], bool(warned[0]["remedy"])) == (False, True)
        await started(made)  # a warning keeps nobody from starting

    tell(story)


def test_before_opening_places_are_told_with_the_snow_that_is_being_entered() -> None:
    async def story(made: Field) -> None:
        surveyed(made)
        made.begin()
        await asyncio.sleep(5)
        assert (await ask(made, "day-check"))["warnings"] == []
        for snow_m, key in ((9.0, "too-deep"), (0.0, "bare")):
            rows = (await ask(made, "day-check", snow_m=snow_m))["warnings"]
            assert [row["key"].partition(":")[0] for row in rows] == [key] * len(made.site.places)
            assert all(row["remedy"] for row in rows)
        await ask(made, "target-moved", target="Larch 1", by="Mira")
        (row,) = (await ask(made, "day-check", snow_m=2.0))["warnings"]
        assert row["key"].startswith("put-elsewhere:")
        assert await made.open_day()  # a warning keeps nobody from opening
        assert (await ask(made, "day-check"))["warnings"] == []

    tell(story)


def test_finding_by_signal_is_refused_while_open_during_an_exercise_and_under_all_off() -> None:
    async def story(made: Field) -> None:
        controller = await ready(made)
        target = controller.site.places[0].target
        for when, word in (("open", "open"), ("exercise", "open"), ("all off", "All off")):
            if when == "exercise":
                await started(made)
            elif when == "all off":
                await ask(made, "all-off")
                await asyncio.sleep(2)
            error = await refused(made, "target-locate", target=target, send=True)
            assert word in error.what
            assert error.remedy
            assert [grant for grant in controller.grants.leases.values() if grant.wish.purpose == "locate"] == []
        assert (await ask(made, "target-locate", target=target))["where"] is not None  # to look is always allowed
        assert not sends(made, target)

    tell(story)
