"""Places by tape: the truth lies inside the ±, doubtful geometry is refused, the file is what the site then reads."""

from __future__ import annotations

import datetime
from dataclasses import replace
from math import cos, hypot, pi, radians, sin
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fieldctl.errors import BadInput, FileFaults, Refused
from fieldctl.site.files import load_site
from fieldctl.site.model import Place, Site, Stake
from fieldctl.site.resurvey import MOST_M, TAPE_M, TAPE_SHARE, Fix, Tape, fix, way_between
from fieldctl.site.surveying import Made, new_survey, write
from fieldctl.units import TargetId

LARCH = TargetId("5ee00001")
DAY = datetime.date(2026, 1, 10)
LATER = datetime.date(2026, 2, 9)
RED, HUT, PINE = Stake("red post", 0, 0), Stake("hut corner", 80, 0), Stake("pine", 30, 90)
OLD = Place(LARCH, "Larch 1", "upper", 12, 72, 0.9, plus_minus_m=0.3, snow_m=1.9, surveyed_on=DAY)

metres = st.floats(-100, 100)
shares = st.floats(-1, 1)


def read(length: float, share: float) -> float:
    """A tape's reading whose own ± just about holds the truth: it is a share of what was read."""
    return max(0.0, (length + share * TAPE_M) / (1 - share * TAPE_SHARE))


def exact(*stakes: Stake, x: float = 12.0, y: float = 72.0) -> list[Tape]:
    return [Tape(stake, hypot(x - stake.x_m, y - stake.y_m)) for stake in stakes]


@given(metres, metres, metres, metres, metres, metres, shares, shares)
def test_the_truth_lies_inside_the_plus_minus(
    ax: float, ay: float, bx: float, by: float, x: float, y: float, one: float, other: float
) -> None:
    stakes = Stake("a", ax, ay), Stake("b", bx, by)
    truth = [hypot(x - stake.x_m, y - stake.y_m) for stake in stakes]
    tapes = [Tape(stake, read(d, share)) for stake, d, share in zip(stakes, truth, (one, other), strict=True)]
    turn = (bx - ax) * (y - ay) - (by - ay) * (x - ax)
    try:
        found = fix(tapes, side="left" if turn > 0 else "right")
    except BadInput:
        assume(False)
        return
    assert hypot(found.x_m - x, found.y_m - y) <= found.plus_minus_m + 1e-6
    assert found.plus_minus_m <= MOST_M


@given(st.floats(50, 130), st.floats(5, 60), st.floats(5, 60), st.floats(0, 2 * pi))
def test_tapes_that_meet_well_are_never_refused_and_narrow(angle: float, a: float, b: float, turned: float) -> None:
    """Seen from the target the stakes lie `angle` degrees apart."""
    one = Stake("a", a * cos(turned), a * sin(turned))
    other = Stake("b", b * cos(turned + radians(angle)), b * sin(turned + radians(angle)))
    found = fix([Tape(one, a), Tape(other, b)], near=replace(OLD, x_m=0, y_m=0, plus_minus_m=0.1))
    assert hypot(found.x_m, found.y_m) < 1e-6
    first_order = hypot(TAPE_M + TAPE_SHARE * a, TAPE_M + TAPE_SHARE * b) / sin(radians(angle))
    assert found.plus_minus_m < 2.2 * first_order
    assert found.plus_minus_m > 0.6 * first_order


def test_the_nearer_to_one_line_the_wider_and_then_refused() -> None:
    widths = []
    for y in (40.0, 20.0, 14.0):
        widths.append(fix(exact(RED, HUT, x=40, y=y), side="left").plus_minus_m)
    assert widths == sorted(widths)
    for y in (6.0, 0.0):
        with pytest.raises(BadInput) as caught:
            fix(exact(RED, HUT, x=40, y=y), side="left")
        assert "line" in caught.value.what
        assert caught.value.remedy


def test_the_old_place_tells_the_side_and_a_doubtful_one_asks() -> None:
    found = fix(exact(RED, HUT), near=OLD)
    assert (found.side, found.chosen) == ("left", "old-place")
    assert (found.x_m, found.y_m) == pytest.approx((12, 72))
    below = fix(exact(RED, HUT), side="right")
    assert (below.x_m, below.y_m, below.chosen) == (pytest.approx(12), pytest.approx(-72), "named")
    for near in (None, replace(OLD, x_m=40, y_m=0.1), replace(OLD, plus_minus_m=200)):
        with pytest.raises(BadInput) as caught:
            fix(exact(RED, HUT), near=near)
        assert "--side" in caught.value.remedy


def test_a_third_tape_tells_the_side_and_finds_a_mistake() -> None:
    found = fix(exact(RED, HUT, PINE))
    assert found.chosen == "third-tape"
    assert (found.x_m, found.y_m) == pytest.approx((12, 72))
    assert found.plus_minus_m <= fix(exact(RED, HUT), side="left").plus_minus_m
    wrong = [*exact(RED, HUT), Tape(PINE, 40.0)]
    with pytest.raises(BadInput) as caught:
        fix(wrong)
    assert "do not agree" in caught.value.what
    with pytest.raises(BadInput):
        fix(exact(RED, HUT, PINE), side="right")


@pytest.mark.parametrize(
    ("tapes", "word"),
    [
        ([Tape(RED, 5)], "Two stakes"),
        ([Tape(RED, 5), Tape(RED, 6)], "twice"),
        ([Tape(RED, 5), Tape(HUT, 6)], "do not meet"),
        ([Tape(RED, 100), Tape(HUT, 6)], "do not meet"),
        ([Tape(RED, 5), Tape(Stake("same spot", 0, 0), 5)], "do not meet"),
    ],
)
def test_tapes_that_cannot_be(tapes: list[Tape], word: str) -> None:
    with pytest.raises(BadInput) as caught:
        fix(tapes, near=OLD)
    assert word in caught.value.what


def test_how_far_it_moved_and_whether_that_is_beyond_both() -> None:
    new = replace(OLD, x_m=12.6, y_m=71.2, plus_minus_m=0.2, surveyed_on=LATER)
    move = way_between(OLD, new)
    assert move.distance_m == pytest.approx(1.0)
    assert move.bearing_deg == pytest.approx(143.13, abs=0.01)
    assert (move.days, move.beyond) == (30, True)
    assert not way_between(OLD, replace(new, plus_minus_m=0.7)).beyond


TOML = (
    'name = "a"\ntitle = "A"\n[[zone]]\nname = "upper"\noutline_m = [[0, 60], [80, 60], [80, 110], [0, 110]]\n'
    '[[stake]]\nname = "red post"\nx_m = 0\ny_m = 0\n[[stake]]\nname = "hut corner"\nx_m = 80\ny_m = 0\n'
    '[[target]]\nid = "5ee00001"\nname = "Larch 1"\nzone = "upper"\nx_m = 12\ny_m = 72\ndepth_m = 0.9\n'
    'snow_m = 1.9\nsurveyed_on = 2026-01-10\nplus_minus_m = 0.3\nnote = "below the larch"\n'
)
FOUND = Fix(12.6, 71.2, 0.2, "left", "old-place")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "site.toml").write_text(TOML, encoding="utf-8")
    return tmp_path


def site_of(folder: Path) -> Site:
    return load_site(folder)


def test_what_is_written_is_what_the_site_reads_and_the_old_place_is_kept(folder: Path) -> None:
    name, text, place = new_survey(folder, site_of(folder), LARCH, FOUND, Made(LATER, "tape, red post 73.1 m"))
    assert list(folder.glob("surveys/*")) == []
    write(folder, name, text)
    after = site_of(folder)
    assert after.place(LARCH) == place
    assert (place.x_m, place.y_m, place.plus_minus_m, place.surveyed_on) == (12.6, 71.2, 0.2, LATER)
    assert (place.depth_m, place.snow_m, place.depth_on, place.note) == (0.9, 1.9, DAY, "below the larch")
    assert [old.surveyed_on for old in after.history] == [DAY]
    assert (folder / "site.toml").read_text(encoding="utf-8") == TOML


def test_a_depth_that_was_measured_anew_is_of_the_new_day(folder: Path) -> None:
    _, _, place = new_survey(folder, site_of(folder), LARCH, FOUND, Made(LATER, "tape", 1.4, 2.2, "moved stake"))
    assert (place.depth_m, place.snow_m, place.depth_on, place.note) == (1.4, 2.2, None, "moved stake")


def test_a_second_survey_of_a_day_counts_and_an_older_one_is_refused(folder: Path) -> None:
    for x in (12.6, 12.8):
        name, text, _ = new_survey(folder, site_of(folder), LARCH, replace(FOUND, x_m=x), Made(LATER, "tape"))
        write(folder, name, text)
    assert site_of(folder).place(LARCH).x_m == 12.8
    with pytest.raises(Refused) as caught:
        new_survey(folder, site_of(folder), LARCH, FOUND, Made(DAY, "tape"))
    assert "later survey would stand" in caught.value.what


def test_another_file_of_the_same_day_that_would_win_is_told(folder: Path) -> None:
    (folder / "surveys").mkdir()
    (folder / "surveys" / f"{LATER}-upper.csv").write_text("name,x_m,y_m\nLarch 1,20,70\n", encoding="utf-8")
    with pytest.raises(Refused) as caught:
        new_survey(folder, site_of(folder), LARCH, FOUND, Made(LATER, "tape"))
    assert f"{LATER}-upper.csv" in caught.value.remedy


def test_a_place_outside_its_zone_is_a_fault_and_nothing_is_written(folder: Path) -> None:
    with pytest.raises(FileFaults) as caught:
        new_survey(folder, site_of(folder), LARCH, replace(FOUND, y_m=40.0), Made(LATER, "tape"))
    assert "outside zone upper" in caught.value.faults[0].wrong
    assert not (folder / "surveys").exists()


def test_nothing_is_overwritten_and_a_folder_that_cannot_be_written_is_told(folder: Path) -> None:
    name, text, _ = new_survey(folder, site_of(folder), LARCH, FOUND, Made(LATER, "tape"))
    write(folder, name, text)
    with pytest.raises(Refused):
        write(folder, name, "something else")
    assert (folder / name).read_text(encoding="utf-8").splitlines() == text.splitlines()
    (folder / "plain").write_text("", encoding="utf-8")
    with pytest.raises(Refused):
        write(folder / "plain", name, text)
