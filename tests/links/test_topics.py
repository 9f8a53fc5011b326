from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.errors import BadInput
from fieldctl.links import topics
from fieldctl.units import TargetId, target_from_address

TARGETS = st.integers(1, 0xFFFF_FFFE).map(target_from_address)
SITES = st.from_regex(r"[a-z0-9][a-z0-9_-]{0,31}", fullmatch=True)


@given(SITES, TARGETS)
def test_what_is_written_is_read_back(site: str, target: TargetId) -> None:
    assert topics.site_word(site) == site
    assert topics.target_of(site, topics.down(site, target), "down") == target
    assert topics.target_of(site, topics.up(site, target), "up") == target
    assert topics.target_of(site, topics.down(site, None), "down") is None


@given(SITES, TARGETS, st.sampled_from(["up", "down"]))
def test_the_wrong_direction_or_site_is_none_of_ours(site: str, target: TargetId, way: str) -> None:
    other = "down" if way == "up" else "up"
    name = topics.up(site, target) if way == "up" else topics.down(site, target)
    with pytest.raises(ValueError, match=r"eight hexadecimal|is no"):
        topics.target_of(site, name, other)
    with pytest.raises(ValueError, match="is no"):
        topics.target_of("x" + site, name, way)


@pytest.mark.parametrize(
    "topic",
    [
        "",
        "fieldctl/v1/larch/status",
        "fieldctl/v1/larch/all/up",
        "fieldctl/v1/larch/t/0A1B2C3D/up",
        "fieldctl/v1/larch/t/ 0a1b2c3d/up",
        "fieldctl/v1/larch/t/00000000/up",
        "fieldctl/v1/larch/t/ffffffff/up",
        "fieldctl/v1/larch/t/0a1b2c3d/up/up",
        "fieldctl/v1/larch/t/0a1b2c3d",
        "/fieldctl/v1/larch/t/0a1b2c3d/up",
        "x/fieldctl/v1/larch/t/0a1b2c3d/up",
    ],
)
def test_a_foreign_topic_is_refused(topic: str) -> None:
    with pytest.raises(ValueError, match=r"no up topic|eight hexadecimal"):
        topics.target_of("larch", topic, "up")


@pytest.mark.parametrize("word", ["", "Larch", "larch hollow", "a/b", "+", "#", "a" * 33, "-a", "lärche", "a\n"])
def test_a_site_word_that_would_steer_elsewhere_is_refused(word: str) -> None:
    with pytest.raises(BadInput, match="MQTT topic"):
        topics.site_word(word)
