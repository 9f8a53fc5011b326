"""Facts of the trade. Marked common practice: said in the trade, no source read; nothing outside confirms them here
but that the product says the same as the list of facts that it is built to, and that it hangs together."""

import pytest

from fieldctl.physics import trade
from fieldctl.physics.dipole import FIELD_LIMIT_LOW_A_PER_M, RECEIVER_LIMIT_A_PER_M, moment_for_field
from fieldctl.physics.probe_patterns import SPIRAL_SPACING_M
from fieldctl.physics.probing import HANDS_M
from fieldctl.physics.receiver import range_m, strip_width_m


@pytest.mark.parametrize(
    ("fact", "value", "grade"),
    [
        (trade.ALL_FOUND_WITHIN, 15.0, "common practice"),
        (trade.ELECTRONICS_SENDING, 0.20, "common practice"),
        (trade.PROBE_LENGTH, 2.0, "common practice"),
        (trade.FROM_EDGE, 20.0, "common practice"),
        (trade.ELECTRONICS_SEARCHING, 0.50, "second-hand"),
        (trade.SEARCHERS_APART, 40.0, "Avalanche Canada; seen"),
        (trade.FINE_SEARCH_FROM, 3.0, "Avalanche Canada; seen"),
        (trade.SPIRAL_SPACING, 0.25, "common practice"),
        (trade.CLOSE_BURIALS, 15.0, "second-hand"),
    ],
    ids=lambda x: getattr(x, "what", None),
)
def test_said_and_graded_alike(fact, value, grade):
    assert fact.value == value
    assert grade in fact.source
    assert fact in trade.FACTS


def test_every_fact_names_its_source():
    assert all(f.source and f.unit and f.what for f in trade.FACTS)


def test_probing_uses_the_same_numbers():
    assert trade.SPIRAL_SPACING.value == SPIRAL_SPACING_M
    assert HANDS_M == 0.3, "common practice"


def test_40_m_between_searchers_and_20_m_from_the_edge_go_together():
    """Half of the spacing at the edge (Avalanche Canada, seen). A receiver that just meets 80 nA/m and the weakest
    lawful transmitter (second-hand norms) are short of it: 23 m of strip, so that the taught spacing leans on
    receivers that do better, as the measured 25 to 100 m say (Schweizer & Krüsi 2003, seen)."""
    assert trade.FROM_EDGE.value == trade.SEARCHERS_APART.value / 2
    weakest = float(moment_for_field(FIELD_LIMIT_LOW_A_PER_M, 10.0))
    assert strip_width_m(range_m(weakest, RECEIVER_LIMIT_A_PER_M, 1.0)) == pytest.approx(23.2, abs=0.1)
    assert strip_width_m(100.0) > trade.SEARCHERS_APART.value > strip_width_m(25.0)
