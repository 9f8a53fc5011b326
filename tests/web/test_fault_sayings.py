"""What is wrong with a file or with a value of a request, said in the reader's language."""

from __future__ import annotations

import re

import pytest
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fieldctl.drill.files import read_drill
from fieldctl.errors import FileFaults
from fieldctl.web.sayings import say

OTHERS = ("de", "fr", "it")
HEAD = 'title = "x"\nlimit_min = 10\n'
DRILLS = (
    "title = \nlimit_min",
    'title = "x"\nlimit_min = 500\nfoo = 1\n',
    f'{HEAD}[[burial]]\nname = "A"\nsignl = "start"\ndepth_m = 3\n'
    '[[burial]]\nname = "A"\nsignal = "delay"\ntarget = "zz"\n',
    f'{HEAD}[[burial]]\nname = "A"\nsignal = "after-find"\nafter = "Q"\n'
    'keying = {period_ms = 1}\nlevel = "x"\nfind = "y"\n',
    f'{HEAD}[[burial]]\nname = "A"\nsignal = "after-find"\nafter = "A"\n'
    'depth_m = [3, 1]\ndrop_on_s = 2\ntarget = "5ee00001"\n',
    f'{HEAD}notes = 3\nchildren = "yes"\n[[burial]]\nname = ""\nzone = "Ö Ö"\nsignal = "never"\nlevel = 50\n'
    '[[burial.apart]]\nother = "B"\nleast_m = 9\nmost_m = 3\n[scene]\nlast_seen_m = 3\noutline_m = [[1, 2]]\n',
)  # fmt: skip
ENGLISH = re.compile(
    r"\b(the|is|this|that|such as|expected|give|add|call it|take|nothing|missing|should|must|input|faults?|or)\b", re.I
)
QUOTED = re.compile(r"'[^']*'|\"[^\"]*\"|\(the file\)|TOML: .*?\. ")


def english_left(text: str) -> list[str]:
    """English words that are neither quoted nor a key of the file."""
    return ENGLISH.findall(QUOTED.sub("", text))


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("text", DRILLS)
def test_the_faults_of_a_drill(language: str, text: str) -> None:
    with pytest.raises(FileFaults) as raised:
        read_drill(text, "drills/broken.toml")
    assert english_left(say(language, raised.value.what)) == []
    for fault in raised.value.faults:
        said = say(language, str(fault))
        assert said.startswith(f"drills/broken.toml:{fault.line}: {fault.key}: ")
        assert english_left(said) == [], said


class Given(BaseModel):
    """Values of every kind that a request gives."""

    model_config = ConfigDict(extra="forbid", strict=True)
    names: tuple[str, ...] = Field(max_length=2)
    short: str = Field(max_length=8)
    some: str = Field(min_length=2)
    whole: int = Field(ge=1, le=9)
    number: float = Field(gt=0, lt=1, allow_inf_nan=False)
    flag: bool
    shape: str = Field(pattern="^a$")


WRONG: tuple[dict[str, object], ...] = (
    {"short": 9 * "x", "some": "x", "whole": 0, "number": 0.0, "flag": 1, "shape": "b", "names": ("a", "b", "c")},
    {"short": 1, "some": "xx", "whole": 10, "number": 1.0, "flag": True, "shape": "a", "names": "a", "more": 1},
    {"short": "x", "whole": 1.5, "number": float("nan"), "names": ("a", 2)},
)


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("values", WRONG)
def test_what_is_wrong_with_a_value(language: str, values: dict[str, object]) -> None:
    with pytest.raises(ValidationError) as raised:
        Given.model_validate(values)
    for row in raised.value.errors(include_url=False, include_input=False):
        where = ".".join(str(part) for part in row["loc"])
        said = say(language, f"{where}: {row['msg']}.")
        assert said.startswith(f"{where}: ")
        assert english_left(said) == [], said
