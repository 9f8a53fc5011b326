"""The page of people: names changed and forgotten by whoever is in charge, and by nobody else."""

from __future__ import annotations

import re

import pytest
from edge_pages_kit import read
from people_kit import Phone, there

from fieldctl.web import words


@pytest.mark.parametrize("language", words.LANGUAGES)
async def test_in_charge_a_name_is_changed_and_forgotten_behind_a_hold_that_says_what_is_lost(language: str) -> None:
    async with there() as t:
        boss = await t.in_charge("Ansel")
        await t.somebody(boss, "Mira", "watch")
        page = read((await boss.client.get("/people", headers={"Accept-Language": language})).text)
        names = {form.attrs["data-name"]: form for form in page.every("form") if "data-rename" in form.attrs}
        assert list(names) == ["Ansel", "Mira"]
        mira = names["Mira"].attrs["data-rename"]
        assert names["Mira"].one("input", name="name").attrs["value"] == "Mira"
        hold = page.one("fc-hold", data_do="forget", data_person=mira)
        assert hold.attrs["ms"] == "3000"
        lost = words.words(language)("people.forget_why", name="Mira")
        assert [p.text for p in page.every("p")].count(lost) == 1

        await boss.ok("person-rename", person=mira, name="Mira of the hut")
        assert t.controller.people[mira] == "Mira of the hut"
        await boss.ok("person-forget", person=mira)
        page = read((await boss.client.get("/people")).text)
        assert [f.attrs["data-name"] for f in page.every("form") if "data-rename" in f.attrs] == ["Ansel"]
        (own,) = [f.attrs["data-rename"] for f in page.every("form") if "data-rename" in f.attrs]
        assert (await boss.no(409, "refused", "person-forget", person=own))["remedy"]


async def test_without_the_right_there_is_neither_and_the_verbs_refuse() -> None:
    async with there() as t:
        boss = await t.in_charge("Ansel")
        phone = await t.somebody(boss, "Mira", "instruct")
        text = (await phone.client.get("/people")).text
        assert not re.search(r"data-rename|data-do=.forget", text)
        await phone.no(403, "right-missing", "person-rename", person="Ansel", name="Jon")
        await phone.no(403, "right-missing", "person-forget", person="Ansel")
        await Phone(t).no(401, "not-signed-in", "person-forget", person="Ansel")
