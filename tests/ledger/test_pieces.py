"""Values of many facts in one go are those of the facts, in their order, from a label on."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.events import CallMade, DayOpened, StrikeRecorded, TargetAdded
from fieldctl.ledger.store import Ledger
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId

AT = HostTime("b", 7)
WHO = PersonId("p-mira")
labels = st.one_of(st.none(), st.sampled_from([f"2026-01-0{day}T10:00:00.000Z" for day in range(1, 9)]))
features = st.lists(st.integers(0, 100), max_size=8).map(tuple)
burials = st.one_of(st.none(), st.text(max_size=5))


@settings(deadline=None, max_examples=40)
@given(st.lists(st.tuples(labels, features, burials), max_size=12), st.sampled_from(["", "2026-01-04", "2026-02-01"]))
def test_values_are_those_of_the_facts(rows: list[tuple[str | None, tuple[int, ...], str | None]], since: str) -> None:
    with Ledger.open(":memory:", inline=True) as ledger:
        expected = []
        for n, (wall, numbers, burial) in enumerate(rows):
            strike = StrikeRecorded(
                TargetId("5ee00001"),
                BootId(1),
                n,
                NodeTicks(n),
                Stamp(AT, 1),
                numbers,
                "probe",
                "knock",
                None,
                burial,
                "bus",
            )
            call = CallMade("x1", f"k{n}", burial, None, Stamp(AT, 1), WHO)
            ledger.append([strike, call], at=AT, wall=wall)
            if wall is None or wall >= since:
                expected.append((wall, n, numbers[1] if len(numbers) > 1 else None, burial))
        found = ledger.rows_of(StrikeRecorded, ("number", "features[1]", "burial"), since)
        assert [(row[3], *row[4:]) for row in found] == expected
        assert all(row[:3] == ("5ee00001", "b", 7) for row in found)
        both = ledger.pieces({StrikeRecorded: ("features",), CallMade: ("call", "burial")}, since)
        assert [(piece.wall, piece.values) for piece in both if piece.kind == "CallMade"] == [
            (wall, [f"k{n}", burial]) for wall, n, _, burial in expected
        ]
        strikes = [piece.values for piece in both if piece.kind == "StrikeRecorded"]
        assert strikes == [[list(rows[n][1])] for _, n, _, _ in expected]


def test_a_single_value_a_list_and_nothing() -> None:
    with Ledger.open(":memory:", inline=True) as ledger:
        assert ledger.pieces({TargetAdded: ("link",)}) == []
        plates = (TargetId("5ee00001"), TargetId("5ee00002"))
        ledger.append([TargetAdded(plates[0], "", "bus", 1, WHO)], at=AT)
        ledger.append([DayOpened(WHO, AT, "low", 1.0, (), (), plates, "none")], at=AT)
        found = ledger.pieces({DayOpened: ("touched",), TargetAdded: ("link", "no_such.thing")})
        assert [(piece.kind, piece.target, piece.values) for piece in found] == [
            ("TargetAdded", plates[0], ["bus", None]),
            ("DayOpened", None, [list(plates)]),
        ]
