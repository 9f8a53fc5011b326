"""The picker: every wish holds, nothing possible is missed, the same seed picks the same, and a refusal says why."""

import hashlib
import itertools
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.drill.candidate import fits_orientation, wishes
from fieldctl.drill.pick import Candidate, Picks, pick, plane_distance_m
from fieldctl.drill.plan import Apart, Burial, Drill, Signal
from fieldctl.drill.staffing import BOUND, Table, bits, search
from fieldctl.units import TargetId, target_from_address


def tid(n: int) -> TargetId:
    return target_from_address(0x5EE0_0000 + n)


def drill(*burials: Burial) -> Drill:
    return Drill("d", "D", 600.0, burials)


def cand(n: int, x: float = 0.0, y: float = 0.0, zone: str = "upper", depth: float = 1.0, **more: object) -> Candidate:
    return Candidate(tid(n), zone, x, y, depth, **more)  # type: ignore[arg-type]


NEVER = Signal("never")
ROW = [cand(n, x=10.0 * n) for n in range(1, 7)]  # six targets in a row, ten metres apart


# ---- what is asked for is what comes -------------------------------------------------------------------------


def test_wishes_choose() -> None:
    rows = [
        cand(1, zone="upper", depth=1.0, tilt_deg=90.0),
        cand(2, zone="lower", depth=1.0, tilt_deg=90.0),
        cand(3, zone="upper", depth=2.0, tilt_deg=90.0),
        cand(4, zone="upper", depth=1.0, tilt_deg=10.0),
        cand(5, zone="upper", depth=1.0, tilt_deg=90.0, usable=False, why_not="barred"),
    ]
    wish = Burial("A", zone="upper", depth_m=(0.8, 1.2), orientation="lying")
    for seed in range(20):
        assert pick(drill(wish), rows, seed=seed).targets == {"A": tid(1)}


@pytest.mark.parametrize(
    ("wish", "tilt", "fits"),
    [
        ("any", None, True),
        ("lying", None, False),
        ("upright", None, False),
        ("lying", 60.0, True),
        ("lying", 59.9, False),
        ("upright", 30.0, True),
        ("upright", 30.1, False),
    ],
)
def test_orientation(wish: str, tilt: float | None, fits: bool) -> None:
    assert fits_orientation(wish, tilt) is fits  # type: ignore[arg-type]


def test_a_target_named_outright_is_honoured_and_nobody_else_gets_it() -> None:
    for seed in range(20):
        picks = pick(drill(Burial("A"), Burial("B", target=tid(2))), [cand(1), cand(2)], seed=seed)
        assert picks.targets == {"A": tid(1), "B": tid(2)}


def test_those_struck_least_come_first_and_the_worst_is_as_good_as_can_be() -> None:
    rows = [cand(1, struck_since_renewed=3), cand(2, struck_since_renewed=1), cand(3, struck_since_renewed=2)]
    for seed in range(20):
        assert pick(drill(Burial("A")), rows, seed=seed).targets == {"A": tid(2)}
        two = pick(drill(Burial("A"), Burial("B")), rows, seed=seed).targets
        assert set(two.values()) == {tid(2), tid(3)}
    # A alone would take the fresh one of zone upper; then B, who needs zone upper, would get one struck nine times
    rows = [
        cand(1, zone="upper"),
        cand(2, zone="upper", struck_since_renewed=9),
        cand(3, zone="lower", struck_since_renewed=1),
    ]
    for seed in range(20):
        assert pick(drill(Burial("A"), Burial("B", zone="upper")), rows, seed=seed).targets == {
            "A": tid(3),
            "B": tid(1),
        }


def test_the_worst_is_as_good_as_can_be_between_two_that_both_want_the_fresh_one() -> None:
    rows = [
        cand(1, zone="upper", depth=1.0),
        cand(2, zone="upper", depth=3.0, struck_since_renewed=3),
        cand(3, zone="lower", depth=1.0, struck_since_renewed=2),
        cand(4, zone="aside", depth=9.0, struck_since_renewed=1),
    ]
    plan = drill(Burial("A", depth_m=(1, 1)), Burial("B", zone="upper"))
    for seed in range(20):
        assert pick(plan, rows, seed=seed).targets == {"A": tid(3), "B": tid(1)}


def test_one_that_must_take_a_struck_target_does_not_make_the_others_careless() -> None:
    rows = [
        cand(1, zone="lower", struck_since_renewed=5),
        cand(2),
        *[cand(n, struck_since_renewed=4) for n in range(3, 9)],
    ]
    for seed in range(20):
        assert pick(drill(Burial("A", zone="lower"), Burial("B")), rows, seed=seed).targets["B"] == tid(2)


def test_all_wishes_between_the_same_two_hold_together() -> None:
    pair = drill(Burial("A", apart=(Apart("B", 15, 100),)), Burial("B", apart=(Apart("A", 0, 25), Apart("A", 5, 90))))
    for seed in range(20):
        a, b = pick(pair, ROW, seed=seed).targets.values()
        assert abs(int(a, 16) - int(b, 16)) == 2


def test_a_distance_that_differs_by_direction_is_asked_one_way_only() -> None:
    def uphill(a: Candidate, b: Candidate) -> float:
        return max(0.0, b.x_m - a.x_m)

    pair = drill(Burial("A"), Burial("B", apart=(Apart("A", 15, 25),)))
    assert pick(pair, ROW, seed=2, distance=uphill) == pick(pair, ROW[::-1], seed=2, distance=uphill)
    assert pick(pair, ROW[::-1], seed=2, distance=uphill).staffed


def test_seeds_differ() -> None:
    chosen = {pick(drill(Burial("A")), ROW, seed=seed).targets["A"] for seed in range(60)}
    assert chosen == {c.target for c in ROW}


def test_a_seed_means_the_same_on_every_machine_and_for_ever() -> None:
    picks = pick(drill(Burial("A"), Burial("B", apart=(Apart("A", 15, 25),)), Burial("C", NEVER)), ROW, seed=7)
    assert picks == Picks(FROZEN, 7)


FROZEN = {"A": tid(6), "B": tid(4), "C": tid(2)}


def test_given_functions_are_asked_whatever_they_say() -> None:
    pair = drill(Burial("A"), Burial("B", apart=(Apart("A", 5, 6),)))
    assert not pick(pair, ROW, seed=1).staffed
    picks = pick(pair, ROW, seed=1, distance=lambda a, b: plane_distance_m(a, b) / 2)
    assert picks.staffed


# ---- disturbance ---------------------------------------------------------------------------------------------


def near(a: Candidate, b: Candidate) -> float:
    """Signals closer than 15 m cannot be told apart; only asked one way round."""
    return 1.0 if b.x_m < a.x_m < b.x_m + 15 else 0.0


def test_signals_that_cannot_be_told_apart_are_not_picked_together() -> None:
    for seed in range(20):
        picks = pick(drill(Burial("A"), Burial("B")), ROW[:3], seed=seed, disturbance=near)
        assert set(picks.targets.values()) == {tid(1), tid(3)}


def test_a_burial_that_never_sends_disturbs_nobody() -> None:
    assert pick(drill(Burial("A"), Burial("B", NEVER)), ROW[:2], seed=1, disturbance=near).staffed


def test_a_wished_close_pair_is_allowed() -> None:
    pair = drill(Burial("A"), Burial("B", apart=(Apart("A", 3, 15),)))
    picks = pick(pair, ROW, seed=1, disturbance=near)
    assert picks.staffed


def test_too_much_disturbance_is_named() -> None:
    (lack,) = pick(drill(Burial("A"), Burial("B")), ROW[:2], seed=1, disturbance=near).unmet
    assert lack.wish == "disturbance"
    assert "told apart" in lack.wrong


# ---- why not -------------------------------------------------------------------------------------------------


def lacks(plan: Drill, rows: Sequence[Candidate]) -> list[tuple[str | None, str]]:
    picks = pick(plan, rows, seed=1)
    assert not picks.staffed
    assert picks.targets == {}
    assert all(lack.wrong and lack.nearest for lack in picks.unmet)
    return [(lack.burial, lack.wish) for lack in picks.unmet]


def nearest(plan: Drill, rows: Sequence[Candidate]) -> str:
    return pick(plan, rows, seed=1).unmet[0].nearest


def test_no_targets_at_all() -> None:
    assert lacks(drill(Burial("A")), []) == [("A", "usable")]


def test_a_named_target_that_cannot_be_used_says_why() -> None:
    rows = [cand(1, usable=False, why_not="barred until it is dug out"), cand(2)]
    plan = drill(Burial("A", target=tid(1)))
    assert lacks(plan, rows) == [("A", "target")]
    assert "barred until it is dug out" in pick(plan, rows, seed=1).unmet[0].wrong
    stranger = drill(Burial("A", target=TargetId("5ee0000f")))
    assert "not of this field" in pick(stranger, rows, seed=1).unmet[0].wrong
    assert "5ee0000" in nearest(stranger, rows)


def test_each_wish_of_one_burial_names_the_nearest() -> None:
    rows = [cand(1, depth=1.0, tilt_deg=45.0), cand(2, depth=1.8, tilt_deg=20.0)]
    assert lacks(drill(Burial("A", depth_m=(2, 3))), rows) == [("A", "depth")]
    assert nearest(drill(Burial("A", depth_m=(2, 3))), rows) == f"target {tid(2)} at 1.8 m"
    assert lacks(drill(Burial("A", zone="lower")), rows) == [("A", "zone")]
    assert nearest(drill(Burial("A", zone="lower")), rows).endswith("in zone upper")
    assert lacks(drill(Burial("A", orientation="lying")), rows) == [("A", "orientation")]
    assert nearest(drill(Burial("A", orientation="lying")), rows) == f"target {tid(1)} tilted 45° from upright"


def test_what_only_lacks_leave_to_be_used_is_said() -> None:
    rows = [cand(1, zone="lower", usable=False, why_not="battery too weak"), cand(2)]
    assert lacks(drill(Burial("A", zone="lower")), rows) == [("A", "usable"), ("A", "zone")]
    assert "battery too weak" in nearest(drill(Burial("A", zone="lower")), rows)


def test_several_wishes_that_nobody_meets() -> None:
    assert lacks(drill(Burial("A", zone="lower", depth_m=(2, 3), orientation="lying")), [cand(1)]) == [
        ("A", "together")
    ]


def test_every_burial_in_the_way_is_named() -> None:
    plan = drill(Burial("A", zone="x"), Burial("B"), Burial("C", depth_m=(5, 6)))
    assert lacks(plan, ROW) == [("A", "zone"), ("C", "depth")]


def test_too_few_targets_are_counted() -> None:
    plan = drill(Burial("A", zone="lower"), Burial("B"), Burial("C", zone="lower"))
    rows = [cand(1, zone="lower"), cand(2), cand(3)]
    (lack,) = pick(plan, rows, seed=1).unmet
    assert "A, C fit only 1 target between them" in lack.wrong


def test_a_distance_that_no_pair_has_names_the_nearest_pair() -> None:
    plan = drill(Burial("A"), Burial("B", apart=(Apart("A", 21, 28),)))
    (lack,) = pick(plan, ROW, seed=1).unmet
    assert (lack.burial, lack.wish) == ("B", "apart")
    assert "21 to 28 m apart" in lack.wrong
    assert "20.0 m apart" in lack.nearest  # misses by one, thirty by two


def test_each_single_way_out_is_named() -> None:
    rows = [cand(1, x=0), cand(2, x=10), cand(3, x=100, zone="lower")]
    plan = drill(Burial("A"), Burial("B", zone="lower", apart=(Apart("A", 5, 15),)))
    assert lacks(plan, rows) == [("B", "apart"), ("B", "zone")]


def test_wishes_of_which_no_single_one_is_to_blame() -> None:
    far = (Apart("A", 1000, 2000),)
    plan = drill(Burial("A"), Burial("B", apart=far), Burial("C", apart=far))
    (lack,) = pick(plan, ROW, seed=1).unmet
    assert lack.wish == "together"
    assert "first 1 of its 3" in lack.nearest


# ---- the same again ------------------------------------------------------------------------------------------


def test_the_next_pair_can_have_the_same_again_though_the_field_was_struck() -> None:
    plan = drill(Burial("A"), Burial("B"))
    before = pick(plan, ROW, seed=3)
    struck = [
        Candidate(
            c.target, c.zone, c.x_m, c.y_m, c.depth_m, struck_since_renewed=5 * (c.target in before.targets.values())
        )
        for c in ROW
    ]
    assert set(pick(plan, struck, seed=3).targets.values()).isdisjoint(before.targets.values())
    assert pick(plan, struck, seed=3, again=before.targets) == before


def test_what_cannot_be_had_again_is_said_and_picked_anew() -> None:
    plan = drill(Burial("A"), Burial("B", zone="upper"))
    rows = [cand(1, usable=False, why_not="barred"), cand(2), cand(3, zone="lower")]
    picks = pick(plan, rows, seed=1, again={"A": tid(1), "B": tid(9)})
    assert picks.staffed
    assert len(picks.notes) == 2
    assert "barred" in picks.notes[0]
    assert "not there" in picks.notes[1]
    assert "misses zone" in pick(plan, rows, seed=1, again={"A": tid(2), "B": tid(3)}).notes[0]
    assert "go together" in pick(plan, rows, seed=1, again={"A": tid(2), "B": tid(2)}).notes[0]


def test_what_can_be_had_again_is_kept_though_another_burial_cannot_have_its_own() -> None:
    plan = drill(Burial("A"), Burial("B"))
    for seed in range(20):
        rows = [cand(n) for n in range(1, 9)]
        before = pick(plan, rows, seed=seed)
        gone = [replace(c, usable=False, why_not="offline") if c.target == before.targets["A"] else c for c in rows]
        gone = [replace(c, name=f"Larch {n}", struck_since_renewed=n) for n, c in enumerate(gone)]
        picks = pick(plan, gone, seed=seed, again=before.targets)
        assert picks.targets["B"] == before.targets["B"]
        assert picks.targets["A"] != before.targets["A"]
        assert len(picks.notes) == 1
        assert "Larch" in picks.notes[0]  # as people call it


# ---- for all drills and fields -------------------------------------------------------------------------------

METRES = st.sampled_from([0.0, 3.0, 8.0, 15.0, 40.0])
ZONES = st.sampled_from(["upper", "lower"])
TILTS = st.sampled_from([None, 0.0, 45.0, 90.0])
CANDIDATES = st.lists(
    st.builds(
        cand,
        st.integers(1, 30),
        METRES,
        METRES,
        ZONES,
        st.sampled_from([0.5, 1.0, 1.5]),
        tilt_deg=TILTS,
        struck_since_renewed=st.integers(0, 3),
        usable=st.sampled_from([True, True, True, False]),
    ),
    max_size=7,
    unique_by=lambda c: c.target,
)


@st.composite
def drills(draw: st.DrawFn) -> Drill:
    names = "ABCD"[: draw(st.integers(1, 4))]
    burials = []
    for index, name in enumerate(names):
        others = st.sampled_from(names[:index]) if index else st.nothing()
        apart = draw(
            st.lists(st.builds(Apart, others, METRES, METRES.map(lambda m: m + 5)), max_size=2 if index else 0)
        )
        burials.append(
            Burial(
                name,
                draw(st.sampled_from([Signal(), NEVER])),
                target=draw(st.sampled_from([None, None, None, tid(1), tid(2)])),
                zone=draw(st.none() | ZONES),
                depth_m=draw(st.sampled_from([None, (0.4, 1.1), (1.0, 1.0)])),
                orientation=draw(st.sampled_from(["any", "any", "lying", "upright"])),
                apart=tuple(apart),
            )
        )
    return drill(*burials)


def blocks(a: Candidate, b: Candidate) -> float:
    return 1.5 if plane_distance_m(a, b) < 4 else 0.2


def good(plan: Drill, chosen: dict[str, Candidate]) -> bool:
    """Whether an answer meets every wish: written down once more, without the picker's own tables."""
    if len({c.target for c in chosen.values()}) != len(plan.burials):
        return False
    for burial in plan.burials:
        if not all(wishes(burial, chosen[burial.name]).values()):
            return False
        for wish in burial.apart:
            if not wish.least_m <= plane_distance_m(chosen[burial.name], chosen[wish.other]) <= wish.most_m:
                return False
    for a, b in itertools.combinations(plan.burials, 2):
        wished = any(w.other == b.name for w in a.apart) or any(w.other == a.name for w in b.apart)
        send = a.signal.kind != "never" and b.signal.kind != "never"
        if send and not wished and blocks(chosen[a.name], chosen[b.name]) >= 1:
            return False
    return True


@settings(max_examples=300, deadline=None)
@given(drills(), CANDIDATES, st.integers(0, 99), st.randoms(use_true_random=False))
def test_all_wishes_hold_nothing_possible_is_missed_and_order_does_not_matter(
    plan: Drill, rows: list[Candidate], seed: int, shuffle: object
) -> None:
    picks = pick(plan, rows, seed=seed, disturbance=blocks)
    ways = [
        dict(zip([b.name for b in plan.burials], way, strict=True))
        for way in itertools.permutations(rows, len(plan.burials))
    ]
    possible = [way for way in ways if good(plan, way)]
    by_id = {c.target: c for c in rows}
    if picks.staffed:
        chosen = {name: by_id[target] for name, target in picks.targets.items()}
        assert list(chosen) == [b.name for b in plan.burials]
        assert good(plan, chosen)
        worst = max(c.struck_since_renewed for c in chosen.values())
        assert worst == min(max(c.struck_since_renewed for c in way.values()) for way in possible)
    else:
        assert not possible
        assert all(lack.wrong and lack.nearest for lack in picks.unmet)
    shuffled = list(rows)
    shuffle.shuffle(shuffled)  # type: ignore[attr-defined]
    assert pick(plan, shuffled, seed=seed, disturbance=blocks) == picks


# ---- size ----------------------------------------------------------------------------------------------------


def grid(n: int) -> list[Candidate]:
    """n targets on a grid of 8 by 8 cells of 9 m, a little out of line, in four zones and five depths."""
    return [
        cand(
            i + 1,
            x=9.0 * (i % 8) + 0.7 * (i * 7 % 5),
            y=9.0 * (i // 8) + 0.9 * (i * 3 % 7),
            zone=("upper", "lower")[i % 2],
            depth=0.6 + 0.3 * (i % 5),
            tilt_deg=float(i * 37 % 91),
            struck_since_renewed=i * 13 % 6,
        )
        for i in range(n)
    ]


def test_eight_burials_among_64_targets_take_few_choices() -> None:
    names = "ABCDEFGH"
    chain = [Burial("A")] + [
        Burial(name, zone=("upper", "lower")[i % 2], apart=(Apart(names[i], 20, 30), Apart(names[0], 10, 60)))
        for i, name in enumerate(names[1:])
    ]
    for seed in range(5):
        assert pick(drill(*chain), grid(64), seed=seed).staffed
    # nobody can lie at 20 to 20.2 m from six others at once: a refusal is complete too, and comes within the bound
    ring = [Burial("A")] + [
        Burial(name, apart=tuple(Apart(other, 20, 20.2) for other in names[: i + 1]))
        for i, name in enumerate(names[1:])
    ]
    picks = pick(drill(*ring), grid(64), seed=1)
    assert not picks.staffed
    assert {lack.wish for lack in picks.unmet} == {"together"}


def test_the_hardest_fields_stay_far_below_the_bound() -> None:
    """Pairs allowed at random, as many as make an answer just likely: there a search has the most to look through."""
    answers = set()
    for field in range(6):
        pairs: dict[tuple[int, int], list[int]] = {}
        for a, b in itertools.combinations(range(8), 2):
            drawn = [hashlib.blake2s(f"{field}/{a}/{b}/{i}".encode()).digest() * 2 for i in range(64)]
            free = [bits(j for j in range(64) if i != j and drawn[min(i, j)][max(i, j)] < 77) for i in range(64)]
            pairs[a, b] = pairs[b, a] = free
        found, ended = search(Table((bits(range(64)),) * 8, (tuple(range(64)),) * 8, pairs))
        assert not ended
        answers.add(found is None)
    assert answers == {True, False}


def test_the_bound_of_the_search_is_reached_and_said() -> None:
    """Nine places for ten pigeons, of which each pair of holes looks free: only counting would tell, and it does."""
    n = 9
    every = bits(range(n))
    fits = (every,) * (n + 1)
    assert search(Table(fits, (tuple(range(n)),) * (n + 1), {})) == (None, False)
    # triples that exclude each other are beyond counting: the search goes on to its bound, and says so
    order = tuple(tuple(range(60)) for _ in range(12))
    odd = [bits(j for j in range(60) if (i + j) % 12 and i != j and (i // 12) != (j // 12)) for i in range(60)]
    pairs = {(a, b): odd for a in range(12) for b in range(12) if a != b}
    found, ended = search(Table((bits(range(60)),) * 12, order, pairs))
    assert found is None
    assert ended
    assert BOUND == 100_000
