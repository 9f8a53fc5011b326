"""Survival figures are off unless the site names a study."""

from __future__ import annotations

import pytest

from fieldctl.errors import FileFaults
from fieldctl.physics.survival import STUDIES
from fieldctl.site.files import read_site
from fieldctl.site.model import SURVIVAL_STUDIES, DebriefRules
from fieldctl.site.new import templates

SITE = 'name = "larch-hollow"\ntitle = "Larch Hollow"\n'


def test_the_keys_are_those_of_the_studies():
    assert tuple(s.key for s in STUDIES) == SURVIVAL_STUDIES


def test_off_by_default_and_in_the_template():
    assert read_site(SITE).debrief == DebriefRules(None, None)
    assert read_site(dict(templates())["site.toml"]).debrief == DebriefRules(None, None)


def test_the_template_tells_how_to_switch_it_on():
    text = dict(templates())["site.toml"]
    on = text.replace("# [debrief]", "[debrief]").replace("# survival =", "survival =")
    on = on.replace("# digging_", "digging_")
    assert read_site(on).debrief == DebriefRules("rauch-2024", 480.0)


def test_a_study_that_is_not_held_is_told_with_those_that_are():
    with pytest.raises(FileFaults) as caught:
        read_site(SITE + '[debrief]\nsurvival = "rauch"\nsurviving = 1\ndigging_min = 0\n')
    said = "\n".join(str(f) for f in caught.value.faults)
    assert "falk-1994" in said
    assert "rauch-2024" in said
    assert "surviving" in said
    assert "digging_min" in said
