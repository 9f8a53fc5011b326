from __future__ import annotations

import time

from air import Air
from conftest import Phones
from hill import Hill
from playwright.sync_api import expect
from thumbs import hold, running, start

A, B, C = "5ee00001", "5ee00002", "5ee00003"


def phase(hill: Hill, burial: str) -> str:
    return str(next(b["phase"] for b in hill.exercise()["burials"] if b["burial"] == burial))


def two_spans(hill: Hill, name: str) -> list[dict[str, float | None]] | None:
    spans: list[dict[str, float | None]] = next(b["sent"] for b in hill.exercise(name)["burials"] if b["burial"] == "A")
    return spans if len(spans) == 2 else None


def test_three_burials_in_one_tap_and_a_hold(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    page.goto("/")
    expect(page.locator("fc-live")).to_have_text("Live")
    page.get_by_role("link", name="Three burials", exact=True).tap()  # tap 1
    page.wait_for_url("**/drills/three*")
    expect(page.locator("fc-live")).to_have_text("Live")
    hold(page, "#start")
    page.wait_for_url("**/exercises/*")
    expect(page.locator("#words")).to_contain_text("sending, confirmed by the target")
    hill.until(lambda: hill.sending() == {A, C})
    running(page)
    hill.do("probe", A)
    expect(page.locator("#words")).to_contain_text("found, still sending")
    hill.until(lambda: hill.sending() == {A, B, C})
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")
    expect(page.locator("#after")).to_contain_text("has said since its end that it is quiet")
    assert hill.sending() == set()


def test_a_short_press_starts_nothing(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    before = hill.exercise().get("exercise")
    page = phones.new()
    page.goto("/drills/three")
    expect(page.locator("fc-live")).to_have_text("Live")
    hold(page, "#start", 500)
    for _ in range(5):
        hold(page, "#start", 60)
    page.wait_for_timeout(1200)
    assert "/drills/" in page.url
    assert hill.exercise().get("exercise") == before
    assert hill.sending() == set()


def test_call_split_undo_and_what_is_judged(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new("tall")
    name = start(page, "three")
    running(page)
    page.locator("#split").tap()
    expect(page.locator("#ask")).to_contain_text("Signal A")
    page.locator("#call").tap()
    expect(page.locator("#call")).to_have_text("Here! B")
    row = hill.exercise(name)["burials"][0]
    assert [s["name"] for s in row["splits"]] == ["signal"]
    assert len(row["calls"]) == 1
    page.locator("[data-do=undo]").tap()
    hill.until(lambda: hill.exercise(name)["burials"][0]["calls"] == [])
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")


def test_what_lies_inside_a_plus_minus_is_put_before_a_person(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    name = start(page, "three")
    expect(page.locator("#call")).to_be_enabled()
    page.locator("#call").tap()  # a second at most after the start: a thumb is no better than that
    hill.until(lambda: hill.exercise(name)["to_judge"])
    page.get_by_role("button", name="It counts for A").wait_for(timeout=15_000)  # after the undo has been offered
    page.get_by_role("button", name="It counts for A").tap()
    hill.until(lambda: hill.exercise(name)["burials"][0]["calls"])
    assert hill.exercise(name)["to_judge"] == []
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")


def test_a_stop_can_be_taken_back_under_new_grants(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    name = start(page, "three")
    running(page)
    page.locator("#stop").tap()
    hill.until(lambda: hill.sending() == set())
    page.get_by_role("button", name="Take back the stop").tap()
    hill.until(lambda: hill.sending() == {A, C})
    spans = hill.until(lambda: two_spans(hill, name))
    # the gap shows
    assert spans[0]["until_s"] is not None
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")


def test_a_false_find_voided_sends_again_within_two_seconds_and_the_triggered_one_is_asked_about(
    hill: Hill, phones: Phones
) -> None:
    hill.open_day()
    quiet = (
        (hill.folder / "drills" / "three.toml")
        .read_text()
        .replace('target = "5ee00001"', 'target = "5ee00001"\nafter_find = "falls-quiet"')
    )
    (hill.folder / "drills" / "three.toml").write_text(quiet)
    page = phones.new()
    start(page, "three")
    running(page)
    hill.do("probe", A)
    hill.until(lambda: hill.sending() == {B, C})
    page.locator("#entries summary").tap()
    page.locator("#entries [data-void]").first.tap()
    began = time.monotonic()
    hill.until(lambda: A in hill.sending(), 2.0)
    assert time.monotonic() - began < 2.0
    page.get_by_role("button", name="Take it back").wait_for(timeout=15_000)  # after the undo has been offered
    page.get_by_role("button", name="Take it back").tap()
    hill.until(lambda: hill.sending() == {A, C})
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")


def test_a_thumb_that_trembles_calls_once(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    name = start(page, "pair")
    running(page)
    box = page.locator("#call").bounding_box()
    assert box is not None
    for _ in range(3):
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.wait_for_timeout(120)
    hill.until(lambda: hill.exercise(name)["burials"][0]["calls"])
    page.wait_for_timeout(1500)
    assert [len(b["calls"]) for b in hill.exercise(name)["burials"]] == [1, 0]
    page.locator("[data-do=undo]").tap()
    expect(page.locator("#ask")).to_be_empty()  # what was taken back is offered no more
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")


def test_an_order_that_does_not_arrive_says_so_until_something_else_is_pressed(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    name = start(page, "three")
    running(page)
    page.route("**/api/v1/exercise-stop", lambda route: route.abort())
    page.route("**/api/v1/all-off", lambda route: route.abort())
    page.locator("#stop").tap()
    expect(page.locator("#orders")).to_contain_text("No answer")
    page.wait_for_timeout(2000)
    expect(page.locator("#orders")).to_contain_text("No answer")
    page.locator("#all-off").tap()
    expect(page.locator("#all-off-said")).to_contain_text("did not reach the controller")
    over_stop = page.evaluate(
        "(() => { const b = document.getElementById('stop').getBoundingClientRect();"
        " return document.elementFromPoint(b.x + b.width / 2, b.y + b.height / 2).id })()"
    )
    assert over_stop == "stop"
    page.unroute("**/api/v1/exercise-stop")
    page.unroute("**/api/v1/all-off")
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")
    assert hill.exercise(name)["state"] == "stopped"
    page.locator("#all-off").tap()
    expect(page.locator("fc-alloff-state")).to_contain_text("All off is in force")
    expect(page.locator("#all-off-said")).to_be_empty()


def test_quiet_is_said_of_nobody_who_did_not_say_it(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new("tall")
    start(page, "three")
    hill.until(lambda: hill.sending() == {A, C})
    hill.do("cut", C)
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")
    expect(page.locator("#after")).to_contain_text("Larch 3")
    assert C in hill.sending()
    hill.until(lambda: hill.sending() == set(), 20)  # its grant ran out; still it has not said so
    page.wait_for_timeout(1500)
    expect(page.locator("#after")).to_contain_text("have not said yet that they are quiet: Larch 3")
    hill.do("join", C)
    expect(page.locator("#after")).to_contain_text("has said since its end that it is quiet", timeout=15_000)


def test_a_start_that_was_refused_can_be_pressed_again(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    page.goto("/drills/three")
    expect(page.locator("fc-live")).to_have_text("Live")
    blocked = hill.ask("exercise-start", drill="three", by="Ansel")["exercise"]  # the targets play elsewhere
    hold(page, "#start")
    expect(page.locator("#said")).not_to_be_empty()
    assert "/drills/" in page.url
    hill.ask("exercise-stop", exercise=blocked, by="Ansel")
    hill.until(lambda: hill.sending() == set())
    hold(page, "#start")
    page.wait_for_url("**/exercises/*")
    running(page)
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")


def test_a_class_of_six_pairs_one_after_the_other(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    page.goto("/drills/pair")
    expect(page.locator("fc-live")).to_have_text("Live")
    page.get_by_text("Searchers").first.tap()
    page.locator("#new-searcher").fill("Jon, Tove, Ida, Per, Siv, Odd, Liv, Ole, Eli, Leo, Ada, Kai")
    page.get_by_label("two").check()
    hold(page, "#start")
    pairs, names = [], []
    for n in range(6):
        page.wait_for_url(lambda url, seen=tuple(names): "/exercises/" in url and url.rpartition("/")[2] not in seen)
        running(page)
        names.append(page.url.rpartition("/")[2])
        pairs.append(hill.exercise(names[-1])["searchers"])
        for burial in ("A", "B"):
            expect(page.locator("#call")).to_have_text(f"Here! {burial}")
            page.locator("#call").tap()
        expect(page.locator("#state")).to_have_text("complete")
        if n < 5:
            hold(page, "#again")
    assert pairs == [["Jon", "Tove"], ["Ida", "Per"], ["Siv", "Odd"], ["Liv", "Ole"], ["Eli", "Leo"], ["Ada", "Kai"]]
    targets = {tuple(b["target"] for b in hill.exercise(name)["burials"]) for name in names}
    assert len(targets) == 1  # the same again


def test_the_same_again_says_first_who_cannot_be_had_and_keeps_the_others(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    name = start(page, "pair")
    before = {b["burial"]: b for b in hill.exercise(name)["burials"]}
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")
    gone, kept = ("A", "B") if before["A"]["target"] in hill.serial else ("B", "A")
    hill.do("cut", before[gone]["target"])
    hill.until(lambda: before[gone]["target"] not in heard(hill), 30)
    hold(page, "#again")
    expect(page.locator("#orders")).to_contain_text(f"cannot have {before[gone]['name']} again")
    expect(page.locator("#orders")).to_contain_text("Hold again")
    assert hill.exercise()["exercise"] == name  # nothing was started
    page.wait_for_timeout(300)
    hold(page, "#again")
    page.wait_for_url(lambda url: not url.endswith(f"/{name}"))
    after = {b["burial"]: b["target"] for b in hill.exercise()["burials"]}
    assert after[kept] == before[kept]["target"]
    assert after[gone] != before[gone]["target"]


def heard(hill: Hill) -> set[str]:
    return {t["target"] for t in hill.ask("status")["targets"] if t["life"] == "online"}


def test_a_phone_dark_for_long_and_back_shows_what_is_and_replays_nothing(
    hill: Hill, phones: Phones, long_campaign: bool
) -> None:
    hill.open_day()
    air = Air(hill.url)
    page = phones.new(through=air.url)
    name = start(page, "three")
    running(page)
    air.dark()
    expect(page.locator("fc-live")).to_contain_text("Not live since", timeout=12_000)
    assert page.locator("#call").is_disabled()
    assert page.locator("#stop").is_enabled()
    assert page.evaluate("document.documentElement.classList.contains('stale')")
    hill.do("probe", A)
    hill.do("probe", C)
    hill.until(lambda: sum(b["find"] is not None for b in hill.exercise(name)["burials"]) == 2)
    page.wait_for_timeout(240_000 if long_campaign else 0)
    air.back()
    expect(page.locator("fc-live")).to_have_text("Live", timeout=15_000)
    expect(page.locator("#words li").nth(0)).to_contain_text("found")
    expect(page.locator("#words li").nth(2)).to_contain_text("found")
    assert hill.exercise(name)["state"] == "running"  # it went on with no phone
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")
    air.end()


def restart_on_the_same_port(hill: Hill) -> None:
    port = hill.url.rpartition(":")[2]
    site = (hill.folder / "site.toml").read_text()
    (hill.folder / "site.toml").write_text(site.replace("port = 0", f"port = {port}", 1))
    hill.start()


def test_the_server_killed_and_restarted_at_once_goes_on(own_hill: Hill, phones: Phones) -> None:
    own_hill.open_day()
    page = phones.new()
    name = start(page, "three")
    running(page)
    own_hill.kill()
    restart_on_the_same_port(own_hill)
    expect(page.locator("fc-live")).to_have_text("Live", timeout=15_000)
    own_hill.do("probe", A)
    expect(page.locator("#words li").nth(0)).to_contain_text("found", timeout=15_000)
    assert own_hill.exercise(name)["state"] == "running"
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")


def test_the_server_away_for_longer_than_a_grant_one_press_goes_on(own_hill: Hill, phones: Phones) -> None:
    own_hill.open_day()
    page = phones.new()
    name = start(page, "three")
    own_hill.until(lambda: own_hill.sending() == {A, C})
    own_hill.kill()
    expect(page.locator("fc-live")).to_contain_text("Not live since", timeout=12_000)
    own_hill.until(lambda: own_hill.sending() == set(), 15)  # each grant ran out by itself
    restart_on_the_same_port(own_hill)
    expect(page.locator("#state")).to_contain_text("interrupted", timeout=15_000)
    page.wait_for_timeout(1000)
    assert own_hill.sending() == set()  # nothing sends because of a restart
    page.get_by_role("button", name="Go on").tap()
    own_hill.until(lambda: own_hill.sending() == {A, C})
    assert own_hill.exercise(name)["state"] == "running"
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")


def test_another_phone_with_the_right_takes_over(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    first = phones.new()
    name = start(first, "three")
    running(first)
    first.close()
    second = phones.new("tall")
    second.goto("/")
    second.locator("#running a").tap()
    second.wait_for_url(f"**/exercises/{name}")
    running(second)
    second.locator("#call").tap()
    hill.until(lambda: hill.exercise(name)["burials"][0]["calls"])
    second.locator("#stop").tap()
    expect(second.locator("#state")).to_have_text("stopped")


def test_all_off_from_a_phone_that_is_not_signed_in_shows_what_is_true(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    hill.ask("manual-out", unit="Blue", zone="upper", place="under the rock", by="Ansel")
    page = phones.new()
    start(page, "three")
    hill.until(lambda: hill.sending() == {A, C})
    hill.do("cut", C)
    stranger = phones.new(signed_in=False)
    stranger.goto("/")
    expect(stranger.locator("fc-live")).to_have_text("Live")
    stranger.locator("#all-off").tap()
    state = stranger.locator("fc-alloff-state")
    expect(state).to_contain_text("All off is in force")
    hill.until(lambda: A not in hill.sending())
    expect(state).to_contain_text("Larch 3")  # cut off: it has not confirmed, and may send until its grant runs out
    expect(state).to_contain_text("may send for")
    expect(state).to_contain_text("Blue")
    assert C in hill.sending()
    expect(page.locator("fc-alloff-state li").filter(has_text="has not confirmed")).to_have_count(1)  # it moves no more
    page.locator("fc-alloff-state input[type=radio]").last.check()
    hold(page, "fc-alloff-state fc-hold", 3200)
    expect(page.locator("fc-alloff-state .said")).to_contain_text("Larch 3 may still send")  # no release meanwhile
    expect(state).to_contain_text("its grant has run out", timeout=20_000)
    hill.until(lambda: hill.sending() == set())
    expect(page.locator("#state")).to_have_text("ended by all off")
    # the release: the right, three seconds, a reason; and nothing starts
    expect(stranger.locator("fc-alloff-state fc-hold")).to_have_count(0)
    page.reload()
    expect(page.locator("fc-live")).to_have_text("Live")
    hold(page, "fc-alloff-state fc-hold", 3200)
    assert hill.ask("status")["all_off"]["in_force"]  # no reason is chosen for anybody
    page.locator("fc-alloff-state input[type=radio]").last.check()
    hold(page, "fc-alloff-state fc-hold", 1500)
    assert hill.ask("status")["all_off"]["in_force"]
    hold(page, "fc-alloff-state fc-hold", 3200)
    hill.until(lambda: not hill.ask("status")["all_off"]["in_force"])
    assert hill.sending() == set()


def test_a_closed_field_refuses_every_way_to_start(own_hill: Hill, phones: Phones) -> None:
    own_hill.settled()
    page = phones.new()
    page.goto("/drills/three")
    expect(page.locator("#hindrances")).to_contain_text("The field is closed")
    assert page.locator("#start").get_attribute("aria-disabled") == "true"
    hold(page, "#start")
    page.wait_for_timeout(500)
    assert own_hill.exercise() == {}
    answer = page.request.post(
        "/api/v1/exercise-start",
        headers={"X-Fieldctl": "1", "Idempotency-Key": "closed-field-1", "Content-Type": "application/json"},
        data='{"drill": "three"}',
    )
    assert answer.status == 409
    assert "closed" in answer.json()["detail"]
    assert own_hill.exercise() == {}


def test_the_sixth_tab_still_works(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    first = phones.new()
    first.goto("/field")
    tabs = [first]
    for _ in range(5):
        tab = first.context.new_page()
        phones.watched(tab)
        tab.goto("/field")
        tabs.append(tab)
    for tab in tabs:
        expect(tab.locator("fc-live")).to_have_text("Live")
    hill.do("cut", "5ee00006")
    for tab in (tabs[0], tabs[5]):
        tab.bring_to_front()
        expect(tab.locator("#list")).to_contain_text("not heard", timeout=20_000)
        expect(tab.locator("fc-live")).to_have_text("Live")
    tabs[5].close()
    expect(tabs[0].locator("fc-live")).to_have_text("Live")
