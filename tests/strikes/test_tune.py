"""A threshold from stored strikes: clear of every probe, never below the target's own, only where it helps."""

from __future__ import annotations

from random import Random

import pytest

from fieldctl.strikes.table import take_for_ints
from fieldctl.strikes.tune import MARGIN, OWN, PROBES_LEAST, effect, propose
from sims import pad


def stored(kind: str, *peaks: int) -> list[tuple[str, tuple[int, ...]]]:
    return [(kind, (peak, 1000, 9000)) for peak in peaks]


PROBES = stored("probe", *range(400, 400 + PROBES_LEAST))


def test_half_of_the_weakest_probe_where_that_quietens_something() -> None:
    said = propose([*PROBES, *stored("unsure", 75, 90, 190, 600), *stored("step", 150)])
    assert said.threshold == 400 * MARGIN
    assert "4 of 5 others" in said.why
    assert [one.threshold for one in said.effects] == [OWN, 135, 200]
    assert said.effects[-1].not_begun == {"probe": 0, "unsure": 3, "step": 1}
    assert said.effects[-1].stored == {"probe": 20, "unsure": 4, "step": 1}
    assert not any(said.effects[0].not_begun.values())


@pytest.mark.parametrize(
    ("strikes", "why"),
    [
        ([], "0 strikes taken for probes are too few"),
        (PROBES[1:], "19 strikes taken for probes are too few"),
        ([*PROBES, *stored("probe", 130), *stored("unsure", 75)], "weakest probe so far had 13.0"),
        ([*PROBES, *stored("step", 300)], "nothing that was no probe lies below 20.0"),
        (PROBES, "nothing that was no probe"),
    ],
)
def test_otherwise_the_own_one_with_the_reason(strikes, why) -> None:
    said = propose(strikes)
    assert said.threshold == OWN
    assert why in said.why
    assert [one.threshold for one in said.effects] == [OWN]


def test_no_probe_of_the_invented_corpus_would_be_lost() -> None:
    rng = Random(4)
    events = [pad.probe, pad.steps, pad.vehicle] * 30
    strikes = [(take_for_ints(f.as_ints(), ()).kind.value, f.as_ints()) for make in events for _, f in make(rng)]
    said = propose(strikes)
    assert said.threshold > OWN
    assert said.effects[-1].not_begun["probe"] == 0


def test_numbers_that_are_none_are_counted_and_lose_nothing() -> None:
    assert effect([("unsure", ())], 500).not_begun == {"unsure": 0}
