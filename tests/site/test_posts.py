"""Posts in site.toml, and what they add to the opening of a field."""

from dataclasses import replace

import pytest

from fieldctl.errors import FileFaults
from fieldctl.events import TargetTakenOut
from fieldctl.site.checks import Closing, Opening, Quiet, closing_problems, opening_problems
from fieldctl.site.day import Day, fold
from fieldctl.site.files import read_site
from fieldctl.site.model import Post
from fieldctl.site.new import templates
from fieldctl.units import PersonId, TargetId

TEXT = dict(templates())["site.toml"]
POST = '\n[[post]]\nid = "5EE000A1"\nname = "Gate"\nzone = "upper"\n'
MIRA, GATE = PersonId("mira"), TargetId("5ee000a1")


def test_a_post_is_read_and_is_no_burial() -> None:
    site = read_site(TEXT + POST)
    assert site.posts == (Post(GATE, "Gate", "upper"),)
    assert GATE not in site.targets
    assert sum(Day().fresh_left(site).values()) == len(site.targets)


WRONG = [
    (POST.replace('zone = "upper"', 'zone = "uper"'), "post[1].zone", "did you mean 'upper'"),
    (POST.replace('id = "5EE000A1"\n', ""), "post[1].id", "missing"),
    (POST.replace("5EE000A1", "5EE00001"), "post[1].id", "second time"),
    (POST + POST.replace("Gate", "Other"), "post[2].id", "second time"),
    (POST + POST.replace("5EE000A1", "5EE000A2"), "post[2].name", "second time"),
    (POST + "depth_m = 1\n", "post[1].depth_m", "nothing here has this name"),
]


@pytest.mark.parametrize(("more", "key", "said"), WRONG)
def test_each_fault_of_a_post_has_its_line(more: str, key: str, said: str) -> None:
    with pytest.raises(FileFaults) as caught:
        read_site(TEXT + more)
    (fault,) = caught.value.faults
    assert (fault.key, said in fault.wrong) == (key, True)
    assert fault.line > TEXT.count("\n")


def test_a_post_belongs_to_the_roll_call_and_its_button_is_proved() -> None:
    site = read_site(TEXT + POST)
    heard = (*site.targets, GATE)
    good = Opening(MIRA, "low", 2.0, heard, heard, "nothing heard")

    def keys(opening: Opening, day: Day | None = None) -> list[str]:
        return [p.key for p in opening_problems(site, day or Day(), opening)]

    assert keys(good) == []
    assert keys(replace(good, heard=site.targets)) == [f"roll-call:{GATE}"]
    assert keys(replace(good, touched=site.targets)) == [f"touch:{GATE}"]
    assert keys(replace(good, touched=site.targets, exceptions=(f"touch:{GATE}",))) == []
    out = fold([TargetTakenOut(GATE, "lost", "", MIRA, "stolen")], site.zone_of())
    assert keys(replace(good, heard=site.targets, touched=site.targets), out) == []


def test_closing_asks_no_post_to_be_quiet() -> None:
    site = read_site(TEXT + POST)
    day = replace(Day(), open=True)
    closing = Closing(MIRA, True, "Tove, all of it, nothing", signed="Mira")
    assert closing_problems(site, day, closing, Quiet((), site.targets)) == ()
