"""The season book: what it claims and what not, its figures, pages and tables; whatever the log holds, it opens."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema_rs
import pytest
from exercise_kit import Made
from season_kit import PLAN, Truth, build, on_file, started, summary

from fieldctl.debrief import season_figures
from fieldctl.debrief.certificate import LISTED_MOST, certificate
from fieldctl.debrief.season import KINDS, Season, season_of
from fieldctl.debrief.season_out import COLUMNS, SCHEMA, as_row, csv_lines
from fieldctl.debrief.season_page import About, apart_sentences, person_page, season_page, slow_sentences
from fieldctl.debrief.season_words import ENGLISH, kind_name, progress_of, say
from fieldctl.debrief.summary import Summary
from fieldctl.debrief.summary_kept import Unreadable, read_summaries
from fieldctl.drill.plan import Burial, Signal
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.units import PersonId

ABOUT = About("Larch Hollow", 77)
SLOW = Truth(deep=1.9, close=1.0, later=1.0, spread=0.35, quicker_a_winter=0.5)
SAME = Truth(deep=1.0, close=1.0, later=1.0, quicker_a_winter=1.0)


def winter(folder: Path, exercises: int, truth: Truth, seed: int = 2, people: int = 12) -> tuple[Season, dict]:
    built = build(folder / f"{exercises}-{seed}.db", exercises, seed=seed, people=people, truth=truth)
    with Reader.read(built.path) as reader:
        found = read_summaries(reader)
        return season_of(found.rows, found.unreadable), reader.names()


@pytest.fixture(scope="module")
def slow(tmp_path_factory: pytest.TempPathFactory) -> tuple[Season, dict]:
    return winter(tmp_path_factory.mktemp("slow"), 500, SLOW)


def test_it_finds_what_people_are_slow_at_and_who_became_quicker(slow: tuple[Season, dict]) -> None:
    season, _ = slow
    assert [kind.key for kind in season.slow_at] == ["deep"]
    (deep,) = season.slow_at
    assert deep.ratio is not None
    assert deep.ratio.low is not None
    assert deep.ratio.high is not None
    assert deep.ratio.low < SLOW.deep < deep.ratio.high
    assert "Deep burials" in slow_sentences(season)[0]
    quicker = [p for p in season.people if p.progress.ratio and p.progress.ratio.sure and p.progress.ratio.times < 1]
    assert len(quicker) >= 8
    assert not [p for p in season.people if p.progress.ratio and p.progress.ratio.sure and p.progress.ratio.times > 1]
    assert season.signal.claims
    assert season.exercises == 500
    assert sum(season.states.values()) == 500


def test_where_nothing_is_slower_hardly_anything_is_claimed(tmp_path: Path) -> None:
    seasons = [winter(tmp_path, 80, SAME, seed=seed)[0] for seed in range(12)]
    assert sum(bool(season.slow_at) for season in seasons) <= 1  # at most 1 in 20 winters, and these are twelve
    some = [kind for season in seasons for kind in season.kinds if kind.ratio is not None]
    assert len(some) > 40
    changes = [p.progress.ratio for season in seasons for p in season.people if p.progress.ratio is not None]
    assert len(changes) > 25
    assert sum(ratio.sure for ratio in changes) <= 0.05 * len(changes)


def test_few_finds_claim_nothing() -> None:
    rows = [found(n, 100.0 + n) for n in range(9)]
    season = season_of(rows)
    assert season.signal.found == 9
    assert season.signal.median is not None
    assert season.signal.claimed is None
    assert all(kind.ratio is None for kind in season.kinds)
    assert slow_sentences(season) == [say("kinds.few")]
    page = season_page(season, {}, ABOUT)
    assert "too few for a claim" in page
    assert "Half are found within" not in page
    # one more find is enough where five people made them, and not where one did
    assert season_of([*rows, found(9, 80.0)]).signal.claims
    assert not season_of([found(n, 90.0 + n, who="Tove") for n in range(40)]).signal.claims
    alone = season_of([found(n, 90.0 + n, who="Tove") for n in range(40)]).person("Tove")
    assert alone is not None
    assert alone.curve.claims  # forty exercises say something about this one person


def test_an_end_before_the_start_takes_no_hours_away() -> None:
    rows = [found(0, 3599.0, "Tove"), replace(found(1, 90.0, "Tove"), ended_s=-7200.0)]
    tove = season_of(rows).person("Tove")
    assert tove is not None
    assert (tove.exercises, tove.hours) == (2, 1.0)


def found(n: int, s: float, who: str | None = None) -> Summary:
    """An exercise with one burial, found after so many seconds."""
    plan = replace(PLAN, burials=(Burial("A"),))
    make = Made(plan, f"x{n + 1}")
    facts = [started(make, searchers=(who or f"p-{n}",)), make.on("A", 0, 1), make.strike("A", s)]
    return summary([*facts, make.ended("complete", s + 1)], wall=f"2026-01-{1 + n % 28:02d}T09:00:00Z")


def test_half_never_found_has_no_median() -> None:
    plan = replace(PLAN, burials=(Burial("A"),))
    rows = []
    for n in range(30):
        make = Made(plan, f"x{n}")
        hit = [make.strike("A", 100.0 + n)] if n < 12 else []
        rows.append(
            summary([started(make, searchers=(f"p-{n}",)), make.on("A", 0, 1), *hit, make.ended("time-up", 600)])
        )
    season = season_of(rows)
    assert (season.signal.found, season.signal.looked_for, season.signal.median) == (12, 30, None)
    assert "fewer than half" in season_page(season, {}, ABOUT)


def test_a_find_counts_for_whom_it_was_given_and_not_found_for_all() -> None:
    plan = replace(PLAN, burials=(Burial("A"), Burial("C")))
    make = Made(plan)
    hit = make.strike("A", 100)
    facts = [started(make), make.on("A", 0, 1), make.on("C", 0, 2), hit, make.correct("give", "A", "Tove")]
    season = season_of([summary([*facts, make.ended("time-up", 600)])])
    tove, mira = season.person("Tove"), season.person("Mira")
    assert tove is not None
    assert mira is not None
    assert (tove.curve.found, tove.curve.looked_for) == (1, 2)
    assert (mira.curve.found, mira.curve.looked_for) == (0, 1)
    assert [(team.people, team.exercises) for team in season.teams] == [(("Mira", "Tove"), 1)]
    assert season.person("nobody") is None


def test_each_kind_holds_its_burials_and_what_is_not_known_is_in_none() -> None:
    def kinds(**changes: object) -> dict[str, tuple[int, int]]:
        row = found(1, 100.0)
        burial = replace(row.burials[0], **changes)  # type: ignore[arg-type]
        season = season_of([replace(row, burials=(burial,))])
        return {kind.key: (kind.curve.looked_for, kind.rest.looked_for) for kind in season.kinds}

    yes, no, unknown = (1, 0), (0, 1), (0, 0)
    for depth, expected in ((0.79, "shallow"), (0.8, "middle"), (1.2, "middle"), (1.21, "deep")):
        made = kinds(depth_m=depth)
        assert {key: made[key] for key in ("shallow", "middle", "deep")} == {
            key: yes if key == expected else no for key in ("shallow", "middle", "deep")
        }
    assert kinds(depth_m=None)["deep"] == unknown
    assert kinds(others=1, near_m=14.9)["close"] == yes
    assert kinds(others=1, near_m=15.0)["close"] == no
    assert kinds(others=0, near_m=None)["close"] == no
    assert kinds(others=1, near_m=None)["close"] == unknown
    assert (kinds(others=1)["overlap"], kinds(others=0)["overlap"]) == (yes, no)
    for order, second, third in ((1, no, no), (2, yes, no), (3, no, yes), (4, no, yes)):
        assert (kinds(order=order)["second"], kinds(order=order)["third"]) == (second, third)


def test_burials_without_a_signal_have_a_curve_of_their_own() -> None:
    plan = replace(PLAN, burials=(Burial("A", Signal("never")), Burial("B")))
    make = Made(plan)
    facts = [started(make), make.on("B", 0, 1), make.strike("A", 100), make.strike("B", 140)]
    season = season_of([summary([*facts, make.ended("complete", 150)])])
    assert (season.probing.found, season.signal.found) == (1, 1)
    assert season.probing.times_s[0] == 100


def test_a_season_is_cut_out_by_days_and_says_what_has_none() -> None:
    rows = [found(n, 100.0) for n in range(10)] + [replace(found(50, 100.0), wall=None)]
    season = season_of(rows, since="2026-01-03", until="2026-01-05")
    assert (season.exercises, season.first_day, season.last_day, season.undated) == (3, "2026-01-03", "2026-01-05", 1)
    assert season_of(rows, since="2026-01-09").exercises == 2
    assert season_of(rows, until="2026-01-01").exercises == 1
    assert season_of(rows).exercises == 11
    assert "without a day" in " ".join(apart_sentences(season))


# ---- bad input: it opens, says what is missing, invents nothing ----------------------------------------------


def _cut_off(make: Made) -> list:
    return [started(make), make.on("A", 1, 1), make.interrupted(make.at(80), make.at(200))]


def _hundred_strikes(make: Made) -> list:
    many = [make.strike("A", 50 + n / 10) for n in range(100)]
    return [started(make), make.on("A", 1, 1), *many, make.ended("stopped", 100)]


def _clock_jumped(make: Made) -> list:
    before = [started(make), make.on("A", 1, 1), make.interrupted(make.at(80), Made(PLAN, boot="b2", zero_us=0).at(3))]
    later = Made(PLAN, boot="b2", zero_us=0)
    return [*before, later.resumed(later.at(10)), later.strike("A", 60), later.ended("stopped", 90)]


BAD = {
    "empty": [],
    "started only": [lambda m: [started(m)]],
    "no finds": [lambda m: [started(m), m.on("A", 1, 1), m.ended("time-up", 600)]],
    "cut off in the middle": [_cut_off],
    "nobody named": [lambda m: [started(m, searchers=()), m.on("A", 1, 1), m.strike("A", 9), m.ended("stopped", 20)]],
    "a hundred strikes on one pad": [_hundred_strikes],
    "a clock that jumped": [_clock_jumped],
    "two at once": [
        lambda m: [started(m), m.on("A", 1, 1), m.strike("A", 50)],
        lambda m: [started(m), m.on("A", 1, 1), m.strike("A", 60), m.ended("complete", 70)],
    ],
    "ended before it was found": [lambda m: [started(m), m.on("A", 1, 1), m.ended("stopped", 5), m.strike("A", 9)]],
    "no start": [lambda m: [m.strike("A", 5)]],
}


@pytest.mark.parametrize("case", BAD)
def test_whatever_the_log_holds_the_book_opens(tmp_path: Path, case: str) -> None:
    with Ledger.open(tmp_path / "l.db", inline=True) as ledger:
        for n, facts in enumerate(BAD[case]):
            on_file(ledger, facts(Made(PLAN, f"x{n + 1}")))
        found_there = read_summaries(ledger)
    season = season_of(found_there.rows, found_there.unreadable)
    names = {PersonId("Mira"): "Mira"}
    page = season_page(season, names, ABOUT)
    assert "too few for a claim" in page or "no exercise" in page or "<h2>Time to find</h2>" in page
    assert "nan" not in page.lower().replace("ananas", "")
    row = {"schema": 1, "site": "Larch", "version": "0", "head": 1, **as_row(season, names)}
    jsonschema_rs.Draft202012Validator(SCHEMA).validate(json.loads(json.dumps(row, allow_nan=False)))
    assert len(list(csv.reader(csv_lines(season, names)))) == 1 + sum(len(r.burials) for r in season.rows)
    for person in season.people:
        assert person_page(season, person, names, ABOUT)
        assert season_figures.person(person, person.person) is None or person.looks
    certificate(season.people, names, ABOUT)
    if case == "no start":
        assert "Exercise x1 cannot be read: its entries hold no start" in " ".join(apart_sentences(season))
    if case == "nobody named":
        assert season.unnamed == 1
        assert season.people == ()


# ---- ways out ------------------------------------------------------------------------------------------------


def test_the_json_keeps_to_its_schema_and_the_schema_refuses_what_is_wrong(slow: tuple[Season, dict]) -> None:
    season, names = slow
    row = {"schema": 1, "site": "Larch", "version": "0", "head": 1, **as_row(season, names)}
    jsonschema_rs.meta.validate(SCHEMA)
    validator = jsonschema_rs.Draft202012Validator(SCHEMA)
    validator.validate(json.loads(json.dumps(row, allow_nan=False)))
    for change in ({"season_schema": 2}, {"exercises": -1}, {"kinds": [{}]}, {"first_day": "yesterday"}, {"more": 1}):
        assert not validator.is_valid({**row, **change}), change
    assert [kind["kind"] for kind in row["kinds"]] == list(KINDS)
    assert row["people"][0]["name"] == names[row["people"][0]["person"]]


def test_the_csv_holds_every_burial_and_no_formula(slow: tuple[Season, dict]) -> None:
    season, names = slow
    odd = {**names, season.people[0].person: "=HYPERLINK(1)"}
    rows = list(csv.DictReader(io.StringIO("".join(csv_lines(season, odd)))))
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == sum(len(row.burials) for row in season.rows)
    assert {row["found"] for row in rows} == {"0", "1"}
    assert not [value for row in rows for value in row.values() if value.startswith(("=", "+", "@"))]
    assert any(row["finder"] == "'=HYPERLINK(1)" for row in rows)


def test_every_figure_says_in_words_what_it_shows_and_stands_alone(slow: tuple[Season, dict]) -> None:
    season, _ = slow
    pictures = {
        "time": season_figures.time_to_find(season.signal, say("time.signal")),
        "kinds": season_figures.kinds(season),
        "person": season_figures.person(season.people[0], "Mira $1 & <b>"),
    }
    for name, picture in pictures.items():
        assert picture is not None
        assert picture.png.startswith(b"\x89PNG")
        assert picture.svg.startswith("<svg ")
        assert "<script" not in picture.svg
        assert not re.search(r'(href|src)="(?!#)|url\((?!#)|@import', picture.svg)
        assert len(picture.svg) < 400_000
        assert 'role="img"' in picture.svg
        assert f'id="{name}-text"' in picture.svg
    time, kinds, person = pictures.values()
    assert time is not None
    assert kinds is not None
    assert person is not None
    assert "% after 2 min" in time.text
    curve = season.signal
    end = f"{round(100 * float(curve.share[-1]))} % after {curve.times_s[-1] / 60:.1f}"
    assert f"{end.removesuffix('.0')} min. " in time.text  # where the curve ends is not left out
    assert "Half are found within" in time.text
    for key in KINDS:
        assert kind_name(key) in kinds.text
    assert "Mira $1 & <b>" in person.text
    assert "Mira $1 &amp; &lt;b&gt;" in person.svg
    assert season_figures.kinds(season_of([])) is None
    assert season_figures.time_to_find(season_of([]).signal, "none") is None


def test_a_page_stands_alone_and_shows_what_people_typed_as_text(slow: tuple[Season, dict]) -> None:
    season, names = slow
    evil = "<script>alert(1)</script>"
    odd = {**names, season.people[0].person: evil}
    pages = [
        season_page(season, odd, About(evil, 1)),
        person_page(season, season.people[0], odd, ABOUT),
        certificate(season.people[:2], odd, About(evil, 1)),
    ]
    for page in pages:
        assert "<script" not in page
        assert "&lt;script&gt;" in page
        assert 'src="' not in page
        assert "@page" in page
        assert page.count("<html") == 1
        assert "Any signal is a person" in page or "attendance" in page
    ids = re.findall(r'\bid="([^"]+)"', pages[0])
    assert len(ids) == len(set(ids)), "two figures in one page share an id"


def test_a_forgotten_person_is_an_id_on_every_page(slow: tuple[Season, dict]) -> None:
    season, names = slow
    who = season.people[0].person
    gone = {person: name for person, name in names.items() if person != who}
    for page in (
        season_page(season, gone, ABOUT),
        person_page(season, season.people[0], gone, ABOUT),
        certificate(season.people[:1], gone, ABOUT),
        "".join(csv_lines(season, gone)),
        json.dumps(as_row(season, gone)),
    ):
        assert names[who] not in page
        assert who in page


def test_a_certificate_says_attendance_and_no_more(slow: tuple[Season, dict]) -> None:
    season, names = slow
    one = season.people[0]
    page = certificate([one], names, ABOUT)
    assert f"took part in {one.exercises} exercises" in page
    assert page.count("<tr>") == LISTED_MOST + 1
    assert f"and {one.exercises - LISTED_MOST} more" in page
    assert "no skill, no licence" in page
    for word in ("passed", "median", "Half are found"):
        assert word not in page
    undated = season_of([replace(row, wall=None) for row in season.rows[:40]])
    assert "not known" in certificate(undated.people[:1], names, ABOUT)


def test_progress_is_said_only_where_it_is_sure(slow: tuple[Season, dict]) -> None:
    season, _ = slow
    assert progress_of(None) == say("progress.few")
    said = {progress_of(p.progress.ratio) for p in season.people}
    assert any(sentence.startswith("quicker") for sentence in said)
    for p in season.people:
        ratio = p.progress.ratio
        if ratio is not None and not ratio.sure:
            assert progress_of(ratio).startswith("no sure change")


def test_every_sentence_can_be_said_in_another_language(slow: tuple[Season, dict]) -> None:
    """A language's table with every key shows no English word; a key that it lacks is said in English."""
    season, names = slow
    other = {key: "§" + "".join(re.findall(r"\{[^}]*\}", text)) + "§" for key, text in ENGLISH.items()}
    page = re.sub(
        r"<style>.*?</style>|<svg.*?</svg>|<[^>]+>", " ", season_page(season, names, ABOUT, other), flags=re.S
    )
    for english in ("burials", "found", "people", "exercises", "quicker", "median"):
        assert english not in page.replace("found-unsent", "").lower(), english
    assert "Time to find" in season_page(season, names, ABOUT, {"people": "Leute"})


def test_unreadable_ones_are_named_up_to_a_limit_and_then_counted() -> None:
    season = season_of([], [Unreadable(f"x{n}", "odd") for n in range(50)])
    said = apart_sentences(season)
    assert len(said) == 21
    assert "30 more" in said[-1]
