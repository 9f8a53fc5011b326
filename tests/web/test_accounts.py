"""Phones over the months, codes, waits and hashes, each by itself."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from people_kit import HOST, PASSWORD, Clock, Phone, entropy, there

from fieldctl.controller.access import PHONES_MAX
from fieldctl.controller.codes import CODES_MAX, LETTERS, Codes, normal
from fieldctl.errors import BadInput, LedgerFailed, Refused
from fieldctl.events import PersonForgotten, PhoneEnded, PhonePaired
from fieldctl.units import HostUs, PersonId
from fieldctl.web.backoff import ADDRESS, NAME, PAIR, TRACKED_MAX, BackOff, network_of
from fieldctl.web.passwords import Passwords

DAY = 86_400.0
P = PersonId("p-1")


async def test_a_phone_that_is_used_stays_and_one_that_is_not_ends_after_a_season(tmp_path: Path) -> None:
    clock = Clock()
    path = tmp_path / "ledger.sqlite"
    async with there(path, clock) as t:
        boss = await t.in_charge()
        used, idle = await t.somebody(boss, "Tove", "watch"), await t.somebody(boss, "Jon", "watch")
        tokens = [used.token, idle.token]
    for _ in range(4):  # once a month, over restarts
        clock.pass_by(30 * DAY)
        async with there(path, clock) as t:
            phone = Phone(t)
            phone.client.cookies.set("fieldctl_session", tokens[0], domain=HOST)
            assert "watch" in await phone.may()
            await t.desk.access.tidy()
    async with there(path, clock) as t:
        idle = Phone(t)
        idle.client.cookies.set("fieldctl_session", tokens[1], domain=HOST)
        assert await idle.may() == []
        assert [f.why for f in t.facts(PhoneEnded)] == ["not-seen"] * 2  # Jon's, and that of the one in charge


async def test_without_a_wall_clock_no_phone_ends_by_its_age(tmp_path: Path) -> None:
    clock = Clock()
    path = tmp_path / "ledger.sqlite"
    async with there(path, clock) as t:
        boss = await t.in_charge()
    clock.reboot("boot-2", knows_time=False)
    async with there(path, clock) as t:
        await t.desk.access.tidy()
        assert t.facts(PhoneEnded) == []
        assert "in-charge" in [r["right"] for r in t.desk.access.rows()[0]["rights"]]
    assert boss.token


async def test_a_power_cut_between_fact_and_secret_leaves_a_phone_that_nobody_speaks_for(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite"
    async with there(path) as t:
        await t.in_charge()
        person = t.accounts.access.person("Tove")

        async def cut(_values: object) -> None:
            raise LedgerFailed("The power is gone (on purpose).", remedy="None.")

        t.controller.ledger.commit_settings = cut  # type: ignore[method-assign]
        with pytest.raises(LedgerFailed):
            await t.accounts.access.pair(person, "", "code", person)
    async with there(path) as t:
        assert len(t.facts(PhonePaired)) == 2
        rows = {row["name"]: row for row in t.desk.access.rows()}
        assert list(rows) == ["Ansel"]
        assert len(rows["Ansel"]["phones"]) == 1
        await t.desk.access.tidy()


async def test_a_power_cut_before_the_secret_is_thrown_away_leaves_it_good_for_nothing(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite"
    async with there(path) as t:
        boss = await t.in_charge()
        tove = await t.somebody(boss, "Tove", "watch")
        token, phone = tove.token, (await tove.row())["this_phone"]

        async def cut(_values: object) -> None:
            raise LedgerFailed("The power is gone (on purpose).", remedy="None.")

        t.controller.ledger.commit_settings = cut  # type: ignore[method-assign]
        with pytest.raises(LedgerFailed):
            await t.accounts.access.end_phone(phone, P, "ended")
    async with there(path) as t:
        assert phone in t.controller.ledger.setting("access phones")
        thief = Phone(t)
        thief.client.cookies.set("fieldctl_session", token, domain=HOST)
        assert await thief.may() == []
        await t.desk.access.tidy()
        assert phone not in t.controller.ledger.setting("access phones")


async def test_whoever_has_no_name_any_more_is_nobody() -> None:
    """A name may be taken away by another program than this one: an order must never go out in nobody's name."""
    async with there() as t:
        boss = await t.in_charge()
        t.controller.people.clear()
        assert await boss.may() == []


async def test_who_is_forgotten_is_out(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite"
    async with there(path) as t:
        boss = await t.in_charge()
        tove = await t.somebody(boss, "Tove", "instruct")
        await tove.ok("own-password", new=PASSWORD)
        code = (await tove.ok("own-phone-code"))["code"]
        who = t.desk.access.named("Tove")
        assert who is not None
        t.controller.people.pop(who)
        t.controller.ledger.forget_person(who)
        await t.controller.write(PersonForgotten(who, P, "asked", t.controller.outside.here()))
        assert await tove.may() == []
        await Phone(t).no(401, "wrong-secret", "pair", code=code)
        await Phone(t).no(401, "wrong-secret", "sign-in", name="Tove", password=PASSWORD)
        await t.desk.access.tidy()
        assert who not in t.controller.ledger.setting("access passwords")
        assert all(row["name"] != "" for row in t.desk.access.rows())


async def test_names_are_kept_as_long_as_their_rights() -> None:
    """A site may let names go that nobody used for a while; not those of people who may come in."""
    async with there() as t:
        boss = await t.in_charge()
        await t.somebody(boss, "Tove", "instruct", "today")
        jon = t.controller.person("Jon")  # searched once, and holds no right
        book, who = t.controller.book, {name: t.desk.access.named(name) for name in ("Ansel", "Tove")}
        await t.desk.access.tidy()
        t.clock.pass_by(40 * DAY)
        await t.desk.access.tidy()
        ansel, tove = who["Ansel"], who["Tove"]
        assert ansel is not None
        assert tove is not None
        assert book.last_named(ansel) == "2031-02-27"
        assert book.last_named(tove) == book.last_named(jon) == "2031-01-18"


async def test_phones_have_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fieldctl.controller.access.PHONES_MAX", 3)
    assert PHONES_MAX > 3
    async with there() as t:
        boss = await t.in_charge()
        for _ in range(2):
            await Phone(t).ok("pair", code=(await boss.ok("own-phone-code"))["code"])
        code = (await boss.ok("own-phone-code"))["code"]
        row = await Phone(t).no(409, "refused", "pair", code=code)
        assert "End some" in row["remedy"]


async def test_the_first_code_is_offered_while_nobody_in_charge_can_come_in() -> None:
    async with there() as t:
        boss = await t.in_charge()
        assert t.accounts.first_code() is None
        await boss.ok("own-phone-end", phone=(await boss.row())["this_phone"])
        again = t.accounts.first_code()  # the only phone is gone, and there is no password
        assert again is not None
        assert (await Phone(t).ok("first", code=again, name="ansel"))["name"] == "Ansel"
        assert len(t.desk.access.rows()) == 1


async def test_a_phone_that_speaks_for_somebody_else_then_speaks_for_the_first_no_more() -> None:
    async with there() as t:
        boss = await t.in_charge()
        await boss.ok("right-give", person="Tove", right="watch")
        old = boss.token
        code = (await boss.ok("phone-code", person="Tove"))["code"]
        await boss.ok("pair", code=code)
        assert await boss.may() == ["anybody", "watch"]
        thief = Phone(t)
        thief.client.cookies.set("fieldctl_session", old, domain=HOST)
        assert await thief.may() == []


async def test_identify_asks_nobody() -> None:
    """It runs for every request and every beat of every stream: never a look into the ledger."""
    async with there() as t:
        boss = await t.in_charge()
        await boss.may()
        headers = [(b"cookie", f"fieldctl_session={boss.token}".encode())]

        def ask() -> Any:
            from starlette.requests import Request

            return t.accounts.identify(Request({"type": "http", "headers": headers, "app": t.app}))

        def no(*_args: object, **_kwargs: object) -> None:
            raise AssertionError("the ledger was asked")

        t.controller.ledger.connection = no  # type: ignore[method-assign, assignment]
        t.controller.ledger.commit_settings = no  # type: ignore[method-assign, assignment]
        assert all(ask().may("in-charge") for _ in range(100))
        del t.controller.ledger.connection, t.controller.ledger.commit_settings  # type: ignore[method-assign]


# ---- codes -------------------------------------------------------------------------------------------------------


def test_codes_are_drawn_from_all_their_bits() -> None:
    codes = Codes(entropy, lambda: HostUs(0))
    made = {codes.make("phone", P, P) for _ in range(400)}
    assert len(made) == 400
    for at in range(16):
        assert len({normal(code)[at] for code in made}) == len(LETTERS) == 32


def test_all_of_the_drawn_bits_stand_in_a_code() -> None:
    for bit in range(80):
        word = (1 << bit).to_bytes(16, "big")
        halves = iter((word[:8], word[8:]))
        text = Codes(lambda halves=halves: next(halves), lambda: HostUs(0)).make("phone", P, P)  # type: ignore[misc]
        assert sum(LETTERS.index(c) << 5 * n for n, c in enumerate(reversed(normal(text)))) == 1 << bit


def test_more_codes_than_are_kept_end_the_oldest() -> None:
    codes = Codes(entropy, lambda: HostUs(0))
    first = codes.make("first", P, P, lives_s=None)
    made = [codes.make("phone", P, P) for _ in range(CODES_MAX + 3)]
    assert [codes.look(code, "phone") is not None for code in made[:4]] == [False, False, False, True]
    assert codes.counts["dropped"] == 3
    assert codes.look(first, "first") is not None


# ---- waits -------------------------------------------------------------------------------------------------------


class Now:
    us = 0

    def __call__(self) -> HostUs:
        return HostUs(self.us)


@pytest.mark.parametrize("scale", [PAIR, ADDRESS, NAME])
def test_waits_double_up_to_their_most(scale: Any) -> None:
    waits = [scale.wait_s(n) for n in range(60)]
    assert waits[: scale.free] == [0.0] * scale.free
    assert waits[scale.free] == 1.0
    assert all(b in (2 * a, scale.most_s) for a, b in zip(waits[scale.free :], waits[scale.free + 1 :], strict=False))
    assert waits[-1] == scale.most_s


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 2), st.integers(0, 400)), max_size=80))
def test_a_name_is_never_kept_waiting_longer_than_a_moment_from_a_fresh_address(
    tries: list[tuple[int, int, int]],
) -> None:
    now = Now()
    back_off = BackOff(now)
    for address, name, later in tries:
        now.us += later * 1_000_000
        back_off.try_(f"198.51.100.{address}", f"name {name}")
    assert all(back_off.try_("192.0.2.1", f"name {name}") <= NAME.most_s for name in range(3))
    assert back_off.try_("192.0.2.2", "somebody else") == 0.0


def test_an_hour_without_tries_begins_anew_and_what_is_tracked_has_an_end() -> None:
    now = Now()
    back_off = BackOff(now)
    while back_off.try_("192.0.2.1", "mira") == 0:
        pass
    now.us += 3_601 * 1_000_000
    assert back_off.try_("192.0.2.1", "mira") == 0
    for n in range(TRACKED_MAX):
        back_off.try_(f"2001:db8:{n:x}::1")
    assert back_off.counts["forgotten"] == 3  # what the first address left: itself, the pair, the name


def test_what_counts_as_one_address() -> None:
    assert network_of("192.0.2.7") == "192.0.2.7"
    assert network_of("::ffff:192.0.2.7") == "192.0.2.7"
    assert network_of("2001:db8::1") == network_of("2001:db8::ffff:1:2") == "2001:db8::/64"
    assert network_of("fe80::1%eth0") == "fe80::/64"
    assert network_of("testclient") == "testclient"


# ---- passwords ---------------------------------------------------------------------------------------------------


async def test_hashes_are_argon2id_with_the_cost_that_was_named_and_a_salt_each() -> None:
    """RFC 9106, section 4, second recommended option: t=3, m=64 MiB, 128-bit salt, 256-bit tag (p=1 here)."""
    passwords = Passwords(entropy)
    one, two = await passwords.make(PASSWORD), await passwords.make(PASSWORD)
    assert one.startswith("$argon2id$v=19$m=65536,t=3,p=1$")
    salts, tags = zip(*(text.split("$")[4:6] for text in (one, two)), strict=True)
    assert salts[0] != salts[1]
    assert [len(salts[0]) * 6 // 8, len(tags[0]) * 6 // 8] == [16, 32]
    assert await passwords.match(one, PASSWORD)
    assert not await passwords.match(one, PASSWORD + " ")
    assert not await passwords.match(None, PASSWORD)
    assert not await passwords.match("no hash at all", PASSWORD)
    passwords.close()


async def test_an_unknown_name_costs_the_same_hash_as_a_known_one() -> None:
    passwords = Passwords(entropy, memory_kib=64, passes=1)
    kept = await passwords.make(PASSWORD)
    hasher, compared = passwords._hasher, []

    class Spy:
        def verify(self, text: str, password: bytes) -> bool:
            compared.append(text.split("$")[:4])
            return hasher.verify(text, password)

    passwords.__dict__["_nobodys"] = passwords._nobodys  # made by the real one
    passwords.__dict__["_hasher"] = Spy()
    assert [await passwords.match(one, PASSWORD) for one in (kept, None)] == [True, False]
    assert compared[0] == compared[1] == ["", "argon2id", "v=19", "m=64,t=1,p=1"]
    passwords.close()


@pytest.mark.parametrize("text", ["", "nine char", "x" * 201])
async def test_passwords_too_short_or_too_long(text: str) -> None:
    passwords = Passwords(entropy, memory_kib=64, passes=1)
    with pytest.raises(BadInput):
        await passwords.make(text)
    passwords.close()


async def test_one_hash_after_the_other() -> None:
    """However many sign in at once, one hash's memory is taken."""
    passwords = Passwords(entropy, memory_kib=64, passes=1)
    at_once, most = 0, 0
    match = passwords._match

    def counted(kept: str | None, text: str) -> bool:
        nonlocal at_once, most
        at_once += 1
        most = max(most, at_once)
        right = match(kept, text)
        at_once -= 1
        return right

    passwords._match = counted  # type: ignore[method-assign]
    await asyncio.gather(*(passwords.match(None, PASSWORD) for _ in range(8)))
    assert most == 1
    passwords.close()


async def test_nothing_is_given_to_more_people_than_are_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fieldctl.controller.access.PEOPLE_MAX", 2)
    async with there() as t:
        boss = await t.in_charge()
        await boss.ok("right-give", person="Tove", right="watch")
        await boss.no(409, "refused", "right-give", person="Jon", right="watch")
        await boss.ok("right-give", person="Tove", right="upkeep")
        with pytest.raises(Refused):
            await t.desk.access.give(P, "watch", "good", P)
