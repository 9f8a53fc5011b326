"""Alarms on the first page: seen by whoever watches, ended with a reason by whoever may, and never un-barring."""

from __future__ import annotations

import pytest
from conftest import Phones
from hill import Hill
from measuring import axe_findings, contrasts, over_the_edge
from playwright.sync_api import expect

pytestmark = pytest.mark.timeout(240)


def test_an_alarm_is_read_and_ended_by_thumb(own_hill: Hill, phones: Phones) -> None:
    hill = own_hill
    phone = phones.new()
    phone.goto("/")
    expect(phone.locator("fc-live")).to_have_text("Live")
    expect(phone.locator("#alarms h2")).to_have_count(0)
    name = hill.ask("target-list")["targets"][0]["name"]
    target = hill.ask("target-list")["targets"][0]["target"]
    hill.ask("target-bar", target=target, by="Tove", reason="heard though it said quiet")
    row = phone.locator("#alarms li")
    expect(row).to_have_count(1)
    expect(row).to_contain_text(f"{name} is barred")
    expect(row).to_contain_text("since ")
    expect(row).to_contain_text("Dig it out and see that it is quiet")
    button = row.locator("button")
    box = button.bounding_box()
    assert box is not None
    assert box["height"] >= 48

    other = phones.new(signed_in=False)
    other.goto("/")
    expect(other.locator("fc-live")).to_have_text("Live")
    expect(other.locator("#alarms")).to_have_count(0)
    assert name not in (other.locator("main").text_content() or "")

    button.tap()
    form = phone.locator("#mend")
    expect(form).to_be_visible()
    expect(form).to_contain_text("what is barred stays barred")
    form.locator("button[type=submit]").tap()
    expect(phone.locator("#mend-said")).to_contain_text("needs a reason")
    expect(row).to_have_count(1)
    form.locator("label", has_text="Looked at on the spot").tap()
    form.locator("[name=note]").fill("by the patrol (invented)")
    form.locator("button[type=submit]").tap()
    expect(row).to_have_count(0)
    expect(phone.locator("#mend-said")).to_have_text("The alarm is ended.")
    expect(form).to_be_hidden()
    assert target in hill.ask("status")["day"]["barred"]
    phone.goto("/field")
    expect(phone.locator("#list li", has_text=name)).to_contain_text("barred since ")


@pytest.mark.parametrize(("locale", "says"), [("de", "ist gesperrt"), ("fr", "est bloquée"), ("it", "è bloccato")])
def test_it_is_said_in_the_readers_language(hill: Hill, phones: Phones, locale: str, says: str) -> None:
    target = hill.ask("target-list")["targets"][0]["target"]
    hill.ask("target-bar", target=target, by="Tove", reason="heard though it said quiet")
    try:
        page = phones.new(locale=locale)
        page.goto("/")
        expect(page.locator("#alarms li").first).to_contain_text(says)
    finally:
        hill.ask("target-clear", target=target, by="Tove", reason="dug out, quiet")


@pytest.mark.parametrize("locale", ["en", "de", "fr", "it"])
def test_list_and_form_can_be_read_and_pressed(hill: Hill, phones: Phones, locale: str) -> None:
    targets = [row["target"] for row in hill.ask("target-list")["targets"]]
    for target in targets:
        hill.ask("target-bar", target=target, by="Tove", reason="heard though it said quiet")
    try:
        for scheme in ("light", "dark"):
            page = phones.new(locale=locale, color_scheme=scheme)
            page.goto("/")
            page.locator("#alarms li button").first.tap()
            page.locator("#alarms summary").tap()
            assert axe_findings(page) == []
            assert over_the_edge(page) <= 0
            assert min(contrasts(page))[0] >= 7.0, min(contrasts(page))
            for control in page.locator("#alarms button, #alarms summary, #mend button, #mend label").all():
                box = control.bounding_box()
                assert box is not None
                assert box["height"] >= 48, control.text_content()
    finally:
        for target in targets:
            hill.ask("target-clear", target=target, by="Tove", reason="dug out, quiet")
