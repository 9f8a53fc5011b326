"""What is in the way, refused or to be judged, on phones in two languages beside one field."""

from __future__ import annotations

from conftest import Phones
from hill import Hill
from playwright.sync_api import expect
from thumbs import hold, start

FIND_MS = 60_000  # a machine shared with others


def test_the_ready_check_and_the_preview_speak_the_readers_language(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    deep = hill.folder / "drills" / "deep.toml"
    deep.write_text(
        'title = "Too deep"\nlimit_min = 15\n[[burial]]\nname = "A"\nsignal = "start"\ndepth_m = [4.0, 5.0]\n'
    )
    try:
        page = phones.new("tall", locale="de-CH")
        page.goto("/drills/deep")
        expect(page.locator("#hindrances")).to_contain_text("kein passendes Ziel liegt 4 bis 5 m tief")
        page.goto("/drills/three")
        page.locator("#preview summary").tap()
        estimate = page.locator("#preview .estimate")
        expect(estimate).to_contain_text("B: Das Signal kommt erst, wenn A gefunden ist.", timeout=FIND_MS)
        expect(estimate).not_to_contain_text("nobody noted")
        alt = estimate.locator("img").get_attribute("alt") or ""
        assert "von oben gesehen" in alt
        assert "Suchende beginnen bei x" in alt
    finally:
        deep.unlink()


def test_two_phones_read_the_same_exercise_each_in_its_language(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    german, french = phones.new("tall", locale="de"), phones.new("tall", locale="fr")
    name = start(german, "three")
    french.goto(f"/exercises/{name}")
    expect(german.locator("#call")).to_be_enabled()
    german.locator("#call").tap()  # a second at most after the start: a thumb is no better than that
    hill.until(lambda: hill.exercise(name)["to_judge"])
    expect(french.locator("#ask")).to_contain_text("avant ou après le départ ? Cela tombe dans le ±")
    expect(german.locator("#ask")).to_contain_text("vor oder nach dem Start? Es liegt innerhalb des ±", timeout=15_000)
    german.locator("#stop").tap()
    expect(german.locator("#state")).to_have_text("gestoppt")
    expect(french.locator("#state")).to_have_text("arrêté")


def test_a_refusal_and_a_page_that_is_not_there_are_told_in_italian(hill: Hill, phones: Phones) -> None:
    page = phones.new("tall", locale="it-IT")
    page.goto("/drills/nothing")
    expect(page.locator("main .wrong")).to_contain_text("Non c'è nessuno scenario 'nothing'.")
    page.goto("/")
    refused = page.evaluate(
        "fetch('/api/v1/exercise-show?exercise=x99', {credentials: 'same-origin'}).then((answer) => answer.json())"
    )
    assert refused["detail"] == "Non c'è nessun esercizio 'x99'."
    assert refused["code"] == "not-found"


def test_a_broken_drill_and_a_name_that_is_too_long_are_told_in_german(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    broken = hill.folder / "drills" / "broken.toml"
    broken.write_text('title = "Broken"\nlimit_min = 500\n[[burial]]\nname = "A"\nsignl = "start"\n')
    try:
        page = phones.new("tall", locale="de-DE")
        page.goto("/drills")
        wrong = page.locator("main .wrong")
        expect(wrong).to_contain_text(
            "limit_min: 500 liegt nicht zwischen 1 und 240. Erwartet: eine Zahl von 1 bis 240"
        )
        expect(wrong).to_contain_text("hier heisst nichts so; war signal gemeint?")
        expect(wrong).not_to_contain_text("Expected")
        page.goto("/drills/broken")
        expect(page.locator("main .wrong")).to_contain_text("2 Fehler in")
        expect(page.locator("main .wrong")).to_contain_text("Zu tun: Sie signal nennen, oder die Zeile herausnehmen.")
        for english in ("Expected", "To do", "faults"):
            expect(page.locator("main .wrong")).not_to_contain_text(english)
        page.goto("/drills/short")
        expect(page.locator("fc-live")).to_have_text("Live")
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        page.locator("#new-searcher").fill("J" * 81)
        hold(page, "#start")
        expect(page.locator("#said")).to_contain_text("höchstens 80 Zeichen")
        expect(page.locator("#said")).not_to_contain_text("should")
    finally:
        broken.unlink()
