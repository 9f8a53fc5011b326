"""Which target plays which burial: wishes first, then the targets struck least, then the seed. Pure.

    pick(drill, candidates, seed=…) -> Picks     a target for each burial, or every reason why not

The search is complete: when it says that a drill cannot be staffed, no way to staff it exists. Among all ways it takes
one whose most-struck target is struck as little as possible, and prefers the less struck for each burial; ties are
broken by a hash of seed, burial and target, so that every machine picks the same, in whatever order the candidates
come. Values are in `candidate`, the search in `staffing`, wishes between burials in `pairs`, reasons in `unmet`.

The same seed gives the same targets as long as the candidates are the same. When the next pair of searchers shall have
the same again, the field has been struck meanwhile: `again` names what the earlier exercise had, which is taken as it
is where it still fits; a burial that cannot have it says so in a note, and the others keep theirs.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace

from fieldctl.drill.candidate import (
    Candidate,
    Pairing,
    Picks,
    Unmet,
    no_disturbance,
    plane_distance_m,
    wishes,
)
from fieldctl.drill.pairs import Pairs
from fieldctl.drill.plan import Drill
from fieldctl.drill.staffing import BOUND, Table, bits, search
from fieldctl.drill.unmet import why_burial, why_together
from fieldctl.units import TargetId

__all__ = ["Candidate", "Pairing", "Picks", "Unmet", "no_disturbance", "pick", "plane_distance_m"]


def pick(
    drill: Drill,
    candidates: Sequence[Candidate],
    *,
    seed: int,
    distance: Pairing = plane_distance_m,
    disturbance: Pairing = no_disturbance,
    again: Mapping[str, TargetId] | None = None,
) -> Picks:
    """A target for each burial, or every reason why not.

    `distance` is in metres; `disturbance` is 0 for two signals that leave each other alone, 1 or more for two that
    cannot be told apart. Both are given, since a drill knows no physics.
    """
    rows = sorted(candidates, key=lambda candidate: candidate.target)
    assert len({c.target for c in rows}) == len(rows), "each target is a candidate once"
    fits = tuple(bits(i for i, c in enumerate(rows) if all(wishes(b, c).values())) for b in drill.burials)
    unmet = [
        row for burial, fit in zip(drill.burials, fits, strict=True) if not fit for row in why_burial(burial, rows)
    ]
    if unmet:
        return Picks({}, seed, tuple(unmet))
    pairs = Pairs(drill, rows, distance, disturbance)
    order = tuple(
        tuple(sorted(range(len(rows)), key=lambda i, name=burial.name: _rank(seed, name, rows[i])))  # type: ignore[misc]
        for burial in drill.burials
    )
    table = Table(fits, order, pairs.allowed())
    notes: tuple[str, ...] = ()
    if again is not None:
        notes = _not_again(drill, rows, table, again)
        if not notes:
            return Picks({burial.name: again[burial.name] for burial in drill.burials}, seed)
        kept, _ = _least_struck(_keeping(drill, rows, table, again), rows)
        if kept is not None:
            return Picks({b.name: rows[i].target for b, i in zip(drill.burials, kept, strict=True)}, seed, (), notes)
    found, ended = _least_struck(table, rows)
    if found is not None:
        return Picks({b.name: rows[i].target for b, i in zip(drill.burials, found, strict=True)}, seed, (), notes)
    if ended:
        wrong = f"the search ended after {BOUND} choices without an answer"
        return Picks({}, seed, (Unmet(None, "bound", wrong, "name a target outright for one of the burials"),), notes)
    return Picks({}, seed, why_together(drill, rows, table, pairs), notes)


def _rank(seed: int, burial: str, candidate: Candidate) -> tuple[int, bytes]:
    drawn = hashlib.blake2s(f"{seed}/{burial}/{candidate.target}".encode(), digest_size=8)
    return candidate.struck_since_renewed, drawn.digest()


def _least_struck(table: Table, rows: Sequence[Candidate]) -> tuple[tuple[int, ...] | None, bool]:
    """The way whose most-struck target is struck least, by halving; and whether the search ended early."""
    best, ended = search(table)
    counts = sorted({candidate.struck_since_renewed for candidate in rows})
    low, high = 0, len(counts) - 1
    while best is not None and low < high:
        middle = (low + high) // 2
        mask = bits(i for i, candidate in enumerate(rows) if candidate.struck_since_renewed <= counts[middle])
        found, _ = search(table.within(mask))
        if found is None:
            low = middle + 1
        else:
            best, high = found, middle
    return best, ended


def _keeping(drill: Drill, rows: Sequence[Candidate], table: Table, again: Mapping[str, TargetId]) -> Table:
    """The same where each burial whose earlier target still fits may have no other."""
    had = [bits(i for i, c in enumerate(rows) if c.target == again.get(burial.name)) for burial in drill.burials]
    return replace(table, fits=tuple(fit & own or fit for fit, own in zip(table.fits, had, strict=True)))


def _not_again(drill: Drill, rows: Sequence[Candidate], table: Table, again: Mapping[str, TargetId]) -> tuple[str, ...]:
    """Why the earlier targets cannot be taken as they are; empty when they can."""
    place = {candidate.target: i for i, candidate in enumerate(rows)}
    notes = []
    had: list[int | None] = []
    for burial, fit in zip(drill.burials, table.fits, strict=True):
        target = again.get(burial.name)
        i = place.get(target) if target is not None else None
        had.append(i)
        if i is None:
            notes.append(f"Burial {burial.name} cannot have the same again: {target or 'it'} is not there.")
        elif not fit >> i & 1:
            missed = [wish for wish, ok in wishes(burial, rows[i]).items() if not ok]
            why = rows[i].why_not if "usable" in missed and rows[i].why_not else "it misses " + ", ".join(missed)
            notes.append(f"Burial {burial.name} cannot have {rows[i].label} again: {why}.")
    for b, i in enumerate(had):
        for c, j in enumerate(had[:b]):
            if i is None or j is None:
                continue
            partners = table.pairs.get((b, c))
            if i == j or (partners is not None and not partners[i] >> j & 1):
                names = f"{drill.burials[c].name} and {drill.burials[b].name}"
                notes.append(f"Burials {names} cannot have the same again: the two do not go together now.")
    return tuple(notes)
