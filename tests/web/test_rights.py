"""Every verb for every role, through the API with real phones: what is granted works, what is not changes nothing."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from people_kit import Clock, Phone, There, there

from fieldctl.controller.verbs import Right
from fieldctl.events import PhoneEnded, RightEnded, RightGranted
from fieldctl.web.rights import GRANTABLE, INCLUDES

ROLES: tuple[Right, ...] = ("anybody", *GRANTABLE)

# What a right lets somebody do, said once more and by hand: the table of the product must not drift.
MAY: dict[str, set[str]] = {
    "anybody": {"anybody"},
    "watch": {"anybody", "watch"},
    "instruct": {"anybody", "watch", "instruct"},
    "upkeep": {"anybody", "watch", "upkeep"},
    "in-charge": {"anybody", "watch", "instruct", "upkeep", "in-charge"},
}

# Verbs whose right is a matter of safety, or of who lets whom in; each by name.
PINNED: dict[str, str] = {
    "all-off": "anybody",
    "all-off-release": "in-charge",
    "generation-raise": "in-charge",
    "day-open": "in-charge",
    "day-close": "in-charge",
    "exercise-start": "instruct",
    "exercise-stop": "instruct",
    "target-locate": "upkeep",
    "target-moved": "upkeep",
    "snow-measured": "upkeep",
    "snow-import": "upkeep",
    "target-add": "upkeep",
    "target-trace": "upkeep",
    "kit-read": "upkeep",
    "alarm-list": "watch",
    "alarm-clear": "upkeep",
    "alarm-test": "upkeep",
    "right-list": "in-charge",
    "right-give": "in-charge",
    "right-take": "in-charge",
    "phone-code": "in-charge",
    "phone-end": "in-charge",
    "phone-end-all": "in-charge",
    "first-code": "in-charge",
}


def test_what_includes_what() -> None:
    assert {role: set(INCLUDES[role]) for role in ROLES} == MAY


async def test_the_rights_of_the_verbs_that_matter_most() -> None:
    async with there() as t:
        assert {name: t.desk.table[name].right for name in PINNED} == PINNED


async def phones(t: There) -> dict[str, Phone]:
    """One phone for each role, and one of somebody whose right was taken."""
    boss = await t.in_charge()
    made = {role: await t.somebody(boss, f"Invented {role}", role) for role in GRANTABLE}
    made["taken"] = await t.somebody(boss, "Invented taken", "in-charge")
    await boss.ok("right-take", person="Invented taken", right="in-charge")
    return {**made, "anybody": Phone(t)}


NONSENSE = {"no such argument": 1}  # who may do it is told that; nothing is ever carried out


async def test_each_verb_for_each_role() -> None:
    async with there() as t:
        found = await phones(t)
        before = t.controller.ledger.head()
        wrong = []
        for verb in t.desk.table.values():
            if verb.name == "all-off":
                continue
            for role, phone in found.items():
                answer = await phone.post(verb.name, **NONSENSE)
                may = verb.right in MAY.get(role, {"anybody"})
                lacks = (401, "not-signed-in") if role == "anybody" else (403, "right-missing")
                expected = (422, "bad-input") if may else lacks
                if (answer.status_code, answer.json()["code"]) != expected:
                    wrong.append((verb.name, role, answer.status_code))
        assert wrong == []
        assert t.controller.ledger.head() == before
        for phone in found.values():  # all off is everybody's, whatever else is in the request
            assert (await phone.post("all-off", **NONSENSE)).status_code == 200


async def test_reading_by_query_needs_the_same_right() -> None:
    async with there() as t:
        found = await phones(t)
        for role, status in (("anybody", 401), ("taken", 403), ("watch", 200), ("in-charge", 200)):
            assert (await found[role].client.get("/api/v1/status")).status_code == status


async def test_a_right_that_is_taken_is_gone_at_once_and_comes_back_when_it_is_given() -> None:
    async with there() as t:
        boss = await t.in_charge()
        tove = await t.somebody(boss, "Tove", "instruct")
        await boss.ok("right-take", person="tove", right="instruct")
        assert await tove.may() == ["anybody"]
        await boss.no(404, "not-found", "right-take", person="Tove", right="instruct")
        await boss.ok("right-give", person="TOVE", right="instruct")  # undo: the phone was not let go
        assert await tove.may() == ["anybody", "instruct", "watch"]
        assert [(f.right, f.why) for f in t.facts(RightEnded)] == [("instruct", "taken")]


async def test_the_last_one_in_charge_stays() -> None:
    async with there() as t:
        boss = await t.in_charge()
        await boss.no(409, "refused", "right-take", person="Ansel", right="in-charge")
        await boss.ok("right-give", person="Mira", right="in-charge", until="good")
        await boss.ok("right-take", person="Ansel", right="in-charge")
        assert await boss.may() == ["anybody"]


async def test_whoever_is_in_charge_no_more_leaves_no_codes_for_others_behind() -> None:
    async with there() as t:
        boss = await t.in_charge()
        mira = await t.somebody(boss, "Mira", "in-charge")
        await boss.ok("right-give", person="Tove", right="watch")
        for_tove = (await mira.ok("phone-code", person="Tove"))["code"]
        first = (await mira.ok("first-code"))["code"]
        await boss.ok("right-take", person="Mira", right="in-charge")
        await Phone(t).no(401, "wrong-secret", "pair", code=for_tove)
        await Phone(t).no(401, "wrong-secret", "first", code=first, name="Jon")


@pytest.mark.parametrize(
    ("until", "lasts_s"), [("today", 14 * 3600), ("2031-01-18T10:00:00Z", 7200), ("2031-01-18T11:00:00+01:00", 7200)]
)
async def test_a_right_ends_by_itself_and_then_gives_nothing(until: str, lasts_s: float) -> None:
    async with there() as t:
        boss = await t.in_charge()
        tove = await t.somebody(boss, "Tove", "in-charge", until)
        t.clock.pass_by(lasts_s - 1)
        assert "in-charge" in await tove.may()
        t.clock.pass_by(2)
        assert await tove.may() == ["anybody"]
        await t.desk.access.tidy()
        assert [(f.right, f.why) for f in t.facts(RightEnded)] == [("in-charge", "ran-out")]
        assert [f.why for f in t.facts(PhoneEnded)] == ["ran-out"]  # a guest's phone ends with the day
        assert await tove.may() == []
        assert "in-charge" in await boss.may()


ENDS = {
    "over": "2031-01-18T07:59:00Z",
    "without a zone": "2031-01-19T08:00:00",
    "a day": "2031-01-19",
    "words": "tomorrow",
    "nothing": "",
    "much too far": "2099-01-01T00:00:00Z",
}


@pytest.mark.parametrize("what", ENDS)
async def test_an_end_that_cannot_be_is_refused_and_nothing_is_given(what: str) -> None:
    async with there() as t:
        boss = await t.in_charge()
        answer = await boss.post("right-give", person="Tove", right="watch", until=ENDS[what])
        assert (answer.status_code, answer.json()["code"]) == (422, "bad-input")
        assert len(t.facts(RightGranted)) == 1


async def rights_after(clock: Clock, path: object, *, reboot: bool, knows_time: bool, away_s: float) -> list[list[str]]:
    """Rights for good, until a date and for today, before and after a restart."""
    before, after = [], []
    async with there(path, clock) as t:  # type: ignore[arg-type]
        boss = await t.in_charge()
        untils: Iterable[str] = ("good", "2031-01-20T08:00:00Z", "today")
        if clock.wall_s is None:
            untils = ("good", "today")
        made = [await t.somebody(boss, f"Invented {u}", "watch", u) for u in untils]
        before = [await phone.may() for phone in made]
        tokens = [phone.token for phone in made]
    assert all("watch" in may for may in before)
    if reboot:
        clock.reboot("boot-2", away_s, knows_time=knows_time)
    else:
        clock.pass_by(away_s)
    async with there(path, clock) as t:  # type: ignore[arg-type]
        for token in tokens:
            phone = Phone(t)
            phone.client.cookies.set("fieldctl_session", token, domain="larch-hollow.test")
            after.append(await phone.may())
    return after


WATCH, NOTHING = ["anybody", "watch"], ["anybody"]


@pytest.mark.parametrize(
    ("reboot", "knows_time", "away_s", "after"),
    [
        (False, True, 3600.0, [WATCH, WATCH, WATCH]),
        (False, True, 15 * 3600.0, [WATCH, WATCH, NOTHING]),
        (True, True, 3600.0, [WATCH, WATCH, WATCH]),
        (True, True, 3 * 86_400.0, [WATCH, NOTHING, NOTHING]),
        (True, False, 3600.0, [WATCH, NOTHING, NOTHING]),  # nobody can say that it has not ended
    ],
)
async def test_rights_over_a_restart_and_a_reboot(
    tmp_path: object, reboot: bool, knows_time: bool, away_s: float, after: list[list[str]]
) -> None:
    path = tmp_path / "ledger.sqlite"  # type: ignore[operator]
    assert await rights_after(Clock(), path, reboot=reboot, knows_time=knows_time, away_s=away_s) == after


async def test_a_base_station_that_never_knew_the_time(tmp_path: object) -> None:
    """For today counts by the raw clock and ends with a reboot; a date is refused; for good stays."""
    path = tmp_path / "ledger.sqlite"  # type: ignore[operator]
    clock = Clock(wall_s=None)
    async with there() as t:
        t.clock.wall_s = None
        boss = await t.in_charge()
        row = await boss.no(409, "refused", "right-give", person="Tove", right="watch", until="2031-01-20T08:00:00Z")
        assert "for today" in row["remedy"]
        tove = await t.somebody(boss, "Tove", "watch", "today")
        t.clock.pass_by(14 * 3600 + 1)
        assert await tove.may() == NOTHING
    assert await rights_after(clock, path, reboot=True, knows_time=False, away_s=60) == [WATCH, NOTHING]


async def test_a_time_that_comes_later_gives_a_right_back_that_still_stands(tmp_path: object) -> None:
    """A station that asks the network for the time a minute after it booted must not have ended anything by then."""
    path = tmp_path / "ledger.sqlite"  # type: ignore[operator]
    clock = Clock()
    async with there(path, clock) as t:
        boss = await t.in_charge()
        token = (await t.somebody(boss, "Tove", "watch", "2031-01-20T08:00:00Z")).token
    wall = clock.wall_s
    clock.reboot("boot-2", knows_time=False)
    async with there(path, clock) as t:
        phone = Phone(t)
        phone.client.cookies.set("fieldctl_session", token, domain="larch-hollow.test")
        assert await phone.may() == NOTHING
        await t.desk.access.tidy()
        assert t.facts(RightEnded) == []
        clock.wall_s = None if wall is None else wall + 60
        assert await phone.may() == WATCH


async def test_the_wall_clock_moves_nothing_within_one_boot() -> None:
    """Whoever sets the clock back makes no right longer; whoever sets it ahead ends none early."""
    async with there() as t:
        boss = await t.in_charge()
        tove = await t.somebody(boss, "Tove", "watch", "today")
        assert t.clock.wall_s is not None
        t.clock.wall_s += 400 * 86_400
        assert await tove.may() == WATCH
        t.clock.wall_s -= 800 * 86_400
        t.clock.pass_by(14 * 3600 + 1)
        assert await tove.may() == NOTHING
