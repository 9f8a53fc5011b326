"""Coming in and going out, as browsers do it: codes, passwords, cookies, phones that are ended, and hostile pages."""

from __future__ import annotations

import asyncio
import logging
import re
import sqlite3
import threading
from pathlib import Path
from typing import Any

import pytest
from people_kit import HOST, PASSWORD, Clock, Phone, there

from fieldctl.events import AccountMade, CodeMade, PhoneEnded, PhonePaired, SignInFailed
from fieldctl.ledger.export import export_lines
from fieldctl.web import qr
from fieldctl.web.passwords import QUEUE_MAX


async def test_the_first_one_comes_in_by_the_code_of_the_terminal_once() -> None:
    async with there() as t:
        code = t.accounts.first_code()
        assert code is not None
        assert code == t.accounts.first_code()  # the same until it is used
        stranger, boss = Phone(t), Phone(t)
        await stranger.no(401, "wrong-secret", "first", code="0000-0000-0000-0000", name="Jon")
        done = await boss.ok("first", code=code.lower().replace("-", " "), name="Ansel")
        assert done["name"] == "Ansel"
        assert set(done["rights"]) == {"anybody", "watch", "instruct", "upkeep", "in-charge"}
        assert await boss.may() == done["rights"]
        assert t.accounts.first_code() is None
        await stranger.no(401, "wrong-secret", "first", code=code, name="Jon")
        assert await stranger.may() == []
        assert len(t.facts(AccountMade)) == 1


async def test_a_name_or_password_that_cannot_be_does_not_use_the_code_up() -> None:
    async with there() as t:
        code = t.accounts.first_code()
        phone = Phone(t)
        for name in ("field", "anybody", "p-0123456789", "a bell\a", "   ", "n" * 61):
            await phone.no(422, "bad-input", "first", code=code, name=name)
        await phone.no(422, "bad-input", "first", code=code, name="Ansel", password="short")
        assert t.controller.people == {}  # nothing half-done stays behind
        await phone.ok("first", code=code, name="Ansel")


async def test_two_with_the_same_first_code_at_once_are_one() -> None:
    async with there() as t:
        code = t.accounts.first_code()
        answers = await asyncio.gather(
            *(Phone(t).post("first", code=code, name=name, password=PASSWORD) for name in ("Ansel", "Mira"))
        )
        assert sorted(a.status_code for a in answers) == [200, 401]
        assert len(t.facts(AccountMade)) == 1


async def test_a_code_pairs_one_phone_once_and_for_ten_minutes() -> None:
    async with there() as t:
        boss = await t.in_charge()
        await boss.ok("right-give", person="Tove", right="instruct")
        made = await boss.ok("phone-code", person="Tove")
        assert made["path"] == f"/pair/{made['code']}"
        assert len(re.sub(r"[^0-9A-Z]", "", made["code"])) * 5 == 80  # bits
        late, tove, again = Phone(t), Phone(t), Phone(t)
        assert (await tove.ok("pair", code=made["code"]))["name"] == "Tove"
        assert await tove.may() == ["anybody", "instruct", "watch"]
        await again.no(401, "wrong-secret", "pair", code=made["code"])
        made = await boss.ok("phone-code", person="Tove")
        t.clock.pass_by(601)
        await late.no(401, "wrong-secret", "pair", code=made["code"])
        assert await late.may() == []
        assert [f.how for f in t.facts(PhonePaired)] == ["first", "code"]


async def test_a_code_is_good_for_what_it_was_made_for_only() -> None:
    async with there() as t:
        boss = await t.in_charge()
        phone_code = (await boss.ok("own-phone-code"))["code"]
        first_code = (await boss.ok("first-code"))["code"]
        stranger = Phone(t)
        await stranger.no(401, "wrong-secret", "first", code=phone_code, name="Jon")
        await stranger.no(401, "wrong-secret", "pair", code=first_code)
        await stranger.ok("pair", code=phone_code)
        await Phone(t).ok("first", code=first_code, name="Jon")


async def test_a_code_typed_as_people_type_is_read_as_it_was_meant() -> None:
    from fieldctl.controller.codes import normal

    assert normal("oOiIlL-01 u7k3") == "00111101" + "7K3"
    async with there() as t:
        boss = await t.in_charge()
        code = (await boss.ok("own-phone-code"))["code"]
        typed = code.replace("0", "o").replace("1", "l").lower().replace("-", "  ")
        assert (await Phone(t).ok("pair", code=typed))["name"] == "Ansel"


async def test_nobody_without_a_right_gets_a_code() -> None:
    async with there() as t:
        boss = await t.in_charge()
        t.controller.person("Jon")
        await boss.no(409, "refused", "phone-code", person="Jon")
        await boss.no(404, "not-found", "phone-code", person="Nobody of that name")
        await Phone(t).no(401, "not-signed-in", "own-phone-code")
        assert t.facts(CodeMade) == []


async def test_guessed_codes_are_put_off_and_counted_in_one_entry() -> None:
    async with there() as t:
        boss = await t.in_charge()
        guesser = Phone(t, "192.0.2.66")
        statuses = [(await guesser.post("pair", code=f"{n:016d}")).status_code for n in range(30)]
        assert statuses[:10] == [401] * 10
        assert set(statuses[10:]) == {429}
        answer = await guesser.post("pair", code="0" * 16)
        assert int(answer.headers["Retry-After"]) >= 1
        await t.accounts.write_guesses()
        (entry,) = t.facts(SignInFailed)
        assert (entry.passwords, entry.codes, entry.put_off, entry.addresses) == (0, 10, 21, 1)
        await guesser.post("pair", code="0" * 16)
        await t.accounts.write_guesses()  # ten minutes have not gone by
        assert len(t.facts(SignInFailed)) == 1
        t.clock.pass_by(601)
        await t.accounts.write_guesses()
        assert len(t.facts(SignInFailed)) == 2
        # whoever guesses keeps nobody else out: other addresses, paired phones, all off from the very same address
        code = (await boss.ok("own-phone-code"))["code"]
        await Phone(t, "192.0.2.8").ok("pair", code=code)
        assert (await guesser.post("all-off")).status_code == 200


async def test_name_and_password() -> None:
    async with there() as t:
        boss = await t.in_charge("Mira", PASSWORD)
        other = Phone(t)
        assert (await other.ok("sign-in", name=" mira ", password=PASSWORD))["name"] == "Mira"
        assert await other.may() == await boss.may()
        wrong = await Phone(t).no(401, "wrong-secret", "sign-in", name="Mira", password="another one, sorry")
        unknown = await Phone(t).no(401, "wrong-secret", "sign-in", name="Nobody", password=PASSWORD)
        for same in ("title", "detail", "expected", "remedy"):
            assert wrong[same] == unknown[same]  # no hint which of the two was wrong


async def test_somebody_known_without_a_password_answers_like_nobody() -> None:
    async with there() as t:
        await t.in_charge("Mira", None)
        await Phone(t).no(401, "wrong-secret", "sign-in", name="Mira", password=PASSWORD)
        assert t.accounts.passwords.counts["compared"] == 1  # and took as long: something was compared


async def test_back_off_slows_who_guesses_and_never_the_owner_elsewhere() -> None:
    async with there() as t:
        boss = await t.in_charge("Mira", PASSWORD)
        guesser = Phone(t, "192.0.2.66")
        statuses = [
            (await guesser.post("sign-in", name="Mira", password=f"guess number {n}")).status_code for n in range(12)
        ]
        assert statuses == [401] * 5 + [429] * 7
        assert t.accounts.passwords.counts["compared"] == 5  # what is put off costs no hash
        assert (await Phone(t, "192.0.2.9").ok("sign-in", name="Mira", password=PASSWORD))["name"] == "Mira"
        assert "in-charge" in await boss.may()
        t.clock.pass_by(2)
        await guesser.ok("sign-in", name="Mira", password=PASSWORD)  # even there: later


async def test_many_at_once_gain_nothing_and_the_queue_has_an_end() -> None:
    async with there() as t:
        go_on = threading.Event()
        match = t.accounts.passwords._match
        t.accounts.passwords._match = lambda kept, text: go_on.wait(30) and match(kept, text)  # type: ignore[method-assign]
        crowd = [Phone(t, f"198.51.100.{n}") for n in range(QUEUE_MAX + 6)]
        tries = [
            asyncio.create_task(phone.post("sign-in", name=f"guess {n}", password="guess guess"))
            for n, phone in enumerate(crowd)
        ]
        while t.accounts.passwords.counts["full"] < 6:
            await asyncio.sleep(0)
        go_on.set()
        codes = [answer.json()["code"] for answer in await asyncio.gather(*tries)]
        assert (codes.count("wrong-secret"), codes.count("busy")) == (QUEUE_MAX, 6)


async def test_the_loop_goes_on_while_a_password_is_hashed() -> None:
    """However long it takes: here until the loop itself lets it go on. tests/bench/bench_signing.py has the figures."""
    async with there() as t:
        go_on, thread = threading.Event(), 0
        match = t.accounts.passwords._match

        def slow(kept: str | None, text: str) -> bool:
            nonlocal thread
            thread = threading.get_ident()
            assert go_on.wait(30)
            return match(kept, text)

        await t.in_charge("Mira", PASSWORD)
        t.accounts.passwords._match = slow  # type: ignore[method-assign]
        signing_in = asyncio.create_task(Phone(t).post("sign-in", name="Mira", password=PASSWORD))
        boss = Phone(t, "192.0.2.9")
        while not thread:
            await asyncio.sleep(0)
        assert (await boss.post("all-off")).status_code == 200  # meanwhile
        go_on.set()
        assert (await signing_in).status_code == 200
        assert thread != threading.get_ident()


@pytest.mark.parametrize("secure", [False, True])
async def test_the_cookie_is_for_this_field_alone(secure: bool) -> None:
    async with there(secure=secure) as t:
        phone = Phone(t)
        answer = await phone.post("first", code=t.accounts.first_code(), name="Ansel")
        (cookie,) = answer.headers.get_list("set-cookie")
        assert re.match(r"fieldctl_session=[0-9a-f]{64};", cookie)  # 256 bits
        flags = {part.strip().lower() for part in cookie.split(";")[1:]}
        assert {"httponly", "samesite=strict", "path=/"} <= flags
        assert ("secure" in flags) == secure
        assert not any(part.startswith("domain") for part in flags)
        assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("token", ["", "0" * 64, "\u00e9", "a" * 5000, "null", "../../x"])
async def test_a_token_that_nobody_holds_is_nobody(token: str) -> None:
    async with there() as t:
        await t.in_charge()
        phone = Phone(t)
        answer = await phone.client.get("/api/v1/own", headers={"Cookie": f"fieldctl_session={token}".encode()})
        assert answer.status_code == 401


async def test_signing_out_and_a_phone_that_is_ended_in_the_middle() -> None:
    async with there() as t:
        boss = await t.in_charge()
        tove = await t.somebody(boss, "Tove", "instruct")
        assert (await tove.client.get("/api/v1/status")).status_code == 200
        await boss.ok("phone-end", phone=(await tove.row())["this_phone"])
        assert (await tove.client.get("/api/v1/status")).status_code == 401
        jon = await t.somebody(boss, "Jon", "watch")
        token = jon.token
        answer = await jon.post("sign-out")
        assert "fieldctl_session=" in answer.headers["set-cookie"]
        thief = Phone(t)
        thief.client.cookies.set("fieldctl_session", token, domain=HOST)
        assert await thief.may() == []  # the token is dead, not only forgotten by the browser
        assert [f.why for f in t.facts(PhoneEnded)] == ["ended", "signed-out"]


async def test_own_phones_only() -> None:
    async with there() as t:
        boss = await t.in_charge()
        tove, jon = await t.somebody(boss, "Tove", "instruct"), await t.somebody(boss, "Jon", "watch")
        second = Phone(t)
        await second.ok("pair", code=(await tove.ok("own-phone-code"))["code"])
        row = await tove.row()
        assert len(row["phones"]) == 2
        assert (row["name"], row["password"]) == ("Tove", False)
        await jon.no(404, "not-found", "own-phone-end", phone=row["this_phone"])
        await jon.no(403, "right-missing", "phone-end", phone=row["this_phone"])
        (other,) = {p["phone"] for p in row["phones"]} - {row["this_phone"]}
        await tove.ok("own-phone-end", phone=other)
        assert await second.may() == []
        assert await tove.may() != []


async def test_lost_or_stolen_ends_everything_of_a_person_but_the_rights() -> None:
    async with there() as t:
        boss = await t.in_charge()
        tove = await t.somebody(boss, "Tove", "instruct")
        await tove.ok("own-password", new=PASSWORD)
        thiefs_code = (await tove.ok("own-phone-code"))["code"]
        row = await boss.ok("phone-end-all", person="Tove")
        assert (row["ended"], row["phones"], row["password"]) == (1, [], False)
        assert [r["right"] for r in row["rights"]] == ["instruct"]
        assert await tove.may() == []
        await Phone(t).no(401, "wrong-secret", "pair", code=thiefs_code)
        await Phone(t).no(401, "wrong-secret", "sign-in", name="Tove", password=PASSWORD)


async def test_ones_own_password_needs_the_old_one() -> None:
    async with there() as t:
        boss = await t.in_charge("Mira", PASSWORD)
        await boss.no(401, "wrong-secret", "own-password", new="somebody else's choice")
        await boss.no(401, "wrong-secret", "own-password", old="not this one", new="somebody else's choice")
        await boss.ok("own-password", old=PASSWORD, new="five larches in a row")
        await Phone(t).no(401, "wrong-secret", "sign-in", name="Mira", password=PASSWORD)
        assert (await boss.ok("own-password", old="five larches in a row"))["password"] is False
        await boss.no(409, "refused", "own-password")


async def test_a_restart_keeps_phones_and_passwords_and_ends_codes(tmp_path: Path) -> None:
    clock = Clock()
    async with there(tmp_path / "ledger.sqlite", clock) as t:
        boss = await t.in_charge("Mira", PASSWORD)
        tove = await t.somebody(boss, "Tove", "upkeep")
        gone = await t.somebody(boss, "Jon", "watch")
        await boss.ok("phone-end", phone=(await gone.row())["this_phone"])
        code = (await boss.ok("own-phone-code"))["code"]
        tokens = [phone.token for phone in (boss, tove, gone)]
    clock.pass_by(30)
    async with there(tmp_path / "ledger.sqlite", clock) as t:
        may = []
        for token in tokens:
            phone = Phone(t)
            phone.client.cookies.set("fieldctl_session", token, domain=HOST)
            may.append(await phone.may())
        assert "in-charge" in may[0]
        assert may[1:] == [["anybody", "upkeep", "watch"], []]
        assert t.accounts.first_code() is None
        await Phone(t).ok("sign-in", name="Mira", password=PASSWORD)
        await Phone(t).no(401, "wrong-secret", "pair", code=code)


async def test_secrets_are_in_no_export_no_entry_and_no_log(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    path = tmp_path / "ledger.sqlite"
    async with there(path) as t:
        first = t.accounts.first_code()
        assert first is not None
        boss = Phone(t)
        await boss.ok("first", code=first, name="Mira", password=PASSWORD)
        made = await boss.ok("own-phone-code")
        other = Phone(t)
        await other.ok("pair", code=made["code"])
        await Phone(t).post("sign-in", name="Mira", password="a guess that was wrong")
        secrets = {first, made["code"], boss.token, other.token, PASSWORD, "a guess that was wrong"}
        kept = t.controller.ledger.setting("access phones")
        hashes = {row["secret"] for row in kept.values()} | set(t.accounts.access.passwords.values())
        assert len(hashes) == 3
        exported = "".join(export_lines(t.controller.ledger, names=True))
        shown = (await boss.client.get("/people")).text + str(await boss.ok("right-list")) + str(await boss.row())
    for secret in secrets | hashes:
        assert secret not in exported
        assert secret not in shown
        assert secret not in caplog.text
    on_disk = b"".join(p.read_bytes() for p in tmp_path.iterdir())
    for secret in secrets:
        assert secret.encode() not in on_disk  # as hashes only
        assert secret.replace("-", "").encode() not in on_disk
    with sqlite3.connect(path) as raw:
        bodies = " ".join(row[0] for row in raw.execute("SELECT body FROM entries"))
    raw.close()
    assert not any(each in bodies for each in hashes | {"Mira"})


HOSTILE: dict[str, tuple[dict[str, Any], int]] = {
    "a foreign page's form": ({"headers": {"Origin": "http://evil.test"}}, 403),
    "a page of nowhere": ({"headers": {"Origin": "null"}}, 403),
    "another port of the same machine": ({"headers": {"Origin": f"http://{HOST}:81"}}, 403),
    "another scheme": ({"headers": {"Origin": f"https://{HOST}"}}, 403),
    "cross-site by its own word": ({"headers": {"Sec-Fetch-Site": "cross-site"}}, 403),
    "same-site is not the same origin": ({"headers": {"Sec-Fetch-Site": "same-site"}}, 403),
    "without the header of ours": ({"headers": {"X-Fieldctl": None}}, 403),
    "as a form": ({"headers": {"Content-Type": "application/x-www-form-urlencoded"}, "content": b"code=1"}, 415),
    "as text": ({"headers": {"Content-Type": "text/plain"}, "content": b"{}"}, 415),
    "under a rebound name": ({"headers": {"Host": "evil.test"}}, 421),
    "under a name that only ends like ours": ({"headers": {"Host": f"evil.{HOST}"}}, 421),
    "too long": ({"content": b" " * 70_000}, 413),
}


ASKS = ("first", "pair", "sign-in", "sign-out", "own-phone-code", "own-phone-end", "own-password", "right-give")


@pytest.mark.parametrize("what", HOSTILE)
async def test_a_hostile_page_changes_nothing_even_in_the_phone_of_somebody_in_charge(what: str) -> None:
    kwargs, status = HOSTILE[what]
    async with there() as t:
        boss = await t.in_charge()
        before = t.controller.ledger.head()
        wanted = {"Content-Type": "application/json", "Idempotency-Key": "press-hostile-1", **kwargs.get("headers", {})}
        for ask in ASKS:
            request = boss.client.build_request("POST", f"/api/v1/{ask}", content=kwargs.get("content", b"{}"))
            for name, value in wanted.items():
                if value is None:
                    del request.headers[name]
                else:
                    request.headers[name] = value
            answer = await boss.client.send(request)
            assert answer.status_code == status, answer.text
            assert answer.headers["content-type"] == "application/problem+json"
            assert "set-cookie" not in answer.headers
        assert t.controller.ledger.head() == before
        assert "in-charge" in await boss.may()


async def test_pages_change_nothing_when_they_are_opened() -> None:
    """Cameras, previews and scanners open what they see: a code is used by a press, never by a look."""
    async with there() as t:
        boss = await t.in_charge()
        code = (await boss.ok("own-phone-code"))["code"]
        before = t.controller.ledger.head()
        for path in (
            f"/pair/{code}",
            f"/first/{code}",
            "/pair",
            "/first",
            "/sign-in?next=//evil.test/",
            "/sign-out",
            "/people",
        ):
            answer = await boss.client.get(path)
            assert answer.status_code == 200, path
            assert "evil.test" not in answer.text
        answer = await boss.client.get(f"/qr.svg?to=/pair/{code}")
        assert answer.headers["content-type"] == "image/svg+xml"
        assert t.controller.ledger.head() == before
        await Phone(t).ok("pair", code=code)


@pytest.mark.parametrize("to", ["", "//evil.test/", "http://evil.test/", "/a b", "/x?y", "/" + "x" * 200, "\\evil"])
async def test_a_qr_code_leads_to_this_field_only(to: str) -> None:
    async with there() as t:
        answer = await (await t.in_charge()).client.get("/qr.svg", params={"to": to})
        assert (answer.status_code, answer.json()["code"]) == (422, "bad-input")


async def test_a_qr_code_says_the_address_by_which_its_page_was_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fieldctl.web.qr.svg", str.encode)
    async with there(secure=True) as t:
        boss = await t.in_charge()
        assert (await boss.client.get("/qr.svg?to=/pair/AB2C")).text == f"https://{HOST}/pair/AB2C"
        headers = {"Host": "192.0.2.1:8457"}
        assert (await boss.client.get("/qr.svg?to=/x", headers=headers)).text == "https://192.0.2.1:8457/x"
        assert (await Phone(t).client.get("/qr.svg?to=/x")).status_code == 401


def test_qr_codes_for_page_and_terminal_have_their_margin() -> None:
    """ISO/IEC 18004 (from memory): four modules of quiet zone on every side, else cameras do not find it."""
    import segno

    text = "http://192.0.2.1:8457/pair/8N5N-80EP-5X0D-124W"
    side = len(segno.make(text, error="m", micro=False).matrix) + 2 * 4
    assert f'width="{8 * side}"'.encode() in qr.svg(text)
    rows = qr.terminal(text).splitlines()
    plain = [re.sub(r"\x1b\[[0-9;]*m", "", row) for row in rows]
    assert len(set(plain[0])) == len(set(plain[1])) == 1
    assert all(row[:4] == row[-4:] == plain[0][:4] for row in plain[2:-2])


async def test_the_page_of_people_shows_what_one_may_see() -> None:
    async with there() as t:
        boss = await t.in_charge()
        tove = await t.somebody(boss, "Tove", "instruct", "today")
        t.controller.person("<b>Jon</b>")
        page = (await boss.client.get("/people")).text
        assert "Tove" in page
        assert 'id="give"' in page
        assert "&lt;b&gt;Jon&lt;/b&gt;" in page
        page = (await tove.client.get("/people")).text
        assert "Tove" in page
        assert "Ansel" not in page
        assert 'id="give"' not in page
        assert (await Phone(t).client.get("/people")).headers["location"] == "/sign-in?next=/people"


BODIES = {
    "nothing": b"",
    "no object": b"[]",
    "null": b"null",
    "half a character": b'{"code": "\\ud800", "name": "\\udfff", "password": "\\ud800 password"}',
    "a null byte": b'{"code": "\\u0000", "name": "\\u0000", "password": "\\u0000\\u0000 password"}',
    "numbers": b'{"code": 1, "name": 1e999, "password": true}',
    "twice": b'{"code": "a", "code": "b"}',
    "too deep": b"[" * 5000,
    "no text": b"\xff\xfe",
    "long": b'{"code": "' + b"x" * 60_000 + b'", "name": "' + b"y" * 2_000 + b'"}',
    "more": b'{"code": "a", "name": "b", "password": "c", "by": "Ansel", "person": "Ansel"}',
    "right to left": '{"code": "x", "name": "\u202eleda\u202c", "password": "\u202e password"}'.encode(),
}


@pytest.mark.parametrize("what", BODIES)
async def test_whatever_is_sent_is_answered_in_words_and_changes_nothing(what: str) -> None:
    async with there() as t:
        boss, stranger = await t.in_charge(), Phone(t)
        before, people = t.controller.ledger.head(), dict(t.controller.people)
        for phone in (stranger, boss):
            for ask in ("first", "pair", "sign-in", "own-phone-end", "own-password"):
                headers = {"Content-Type": "application/json"}
                answer = await phone.client.post(f"/api/v1/{ask}", content=BODIES[what], headers=headers)
                assert answer.status_code in (401, 404, 409, 413, 415, 422), (ask, answer.text)
                assert answer.json()["remedy"]
        assert t.controller.ledger.head() == before
        assert t.controller.people == people


async def test_the_last_one_in_charge_is_not_forgotten_and_another_one_is() -> None:
    async with there() as t:
        boss = await t.in_charge("Ansel")
        problem = await boss.no(409, "refused", "person-forget", person="Ansel")
        assert problem["detail"] == "Nobody would be in charge any more."
        assert "Ansel" in t.controller.people.values()
        await t.somebody(boss, "Mira", "in-charge")
        await boss.ok("person-forget", person="Mira")
        await boss.no(409, "refused", "person-forget", person="Ansel")
        await t.somebody(boss, "Tove", "in-charge")
        await boss.ok("person-forget", person="Ansel")
        assert await boss.may() == []
