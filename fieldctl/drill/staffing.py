"""The search behind the picker: one candidate for each burial, all different, every pair allowed.

Candidates are bits of an integer. `Table` holds what fits each burial and each pair; `search` looks through all ways,
with the fewest choices first and every choice narrowing the others at once. It is complete up to `BOUND` choices, far
beyond what eight burials among 64 candidates took in any test; reaching it is said, not hidden.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

BOUND = 100_000


def bits(indices: Iterable[int]) -> int:
    """A set of indices as bits."""
    mask = 0
    for index in indices:
        mask |= 1 << index
    return mask


@dataclass(frozen=True, slots=True)
class Table:
    """What may be: `fits[b]` bits of candidates, `order[b]` candidates as preferred, `pairs[b, c][i]` what c may be
    when b is candidate i (both directions are held)."""

    fits: tuple[int, ...]
    order: tuple[tuple[int, ...], ...]
    pairs: Mapping[tuple[int, int], Sequence[int]]

    def within(self, mask: int) -> Table:
        """The same with candidates of `mask` only."""
        return replace(self, fits=tuple(fit & mask for fit in self.fits))


@dataclass(slots=True)
class _Spent:
    choices: int = 0


def search(table: Table) -> tuple[tuple[int, ...] | None, bool]:
    """The first way in the order of preference, or None; and whether the search ended before it was complete."""
    spent = _Spent()
    fits = _consistent(table, list(table.fits))
    found = _go(table, fits, {}, spent) if fits is not None else None
    ended = found is None and spent.choices >= BOUND
    return (None if found is None else tuple(found[b] for b in range(len(table.fits)))), ended


def shortage(fits: Sequence[int]) -> tuple[tuple[int, ...], int] | None:
    """The smallest group of burials that fit fewer candidates than they are, and how many (Hall's condition)."""
    groups = sorted(range(1, 1 << len(fits)), key=lambda group: (group.bit_count(), group))
    for group in groups:
        members = tuple(b for b in range(len(fits)) if group >> b & 1)
        together = 0
        for b in members:
            together |= fits[b]
        if together.bit_count() < len(members):
            return members, together.bit_count()
    return None


def _consistent(table: Table, fits: list[int]) -> list[int] | None:
    """Strike out candidates without any partner in a pair, until nothing changes; None when a burial has none left."""
    changed = True
    while changed:
        changed = False
        for (b, c), partners in table.pairs.items():
            left = bits(i for i in table.order[b] if fits[b] >> i & 1 and partners[i] & fits[c] & ~(1 << i))
            changed |= left != fits[b]
            fits[b] = left
    return fits if all(fits) else None


def _go(table: Table, fits: list[int], chosen: dict[int, int], spent: _Spent) -> dict[int, int] | None:
    open_ = [b for b in range(len(fits)) if b not in chosen]
    if not open_:
        return chosen
    together = 0
    for b in open_:
        together |= fits[b]
    if together.bit_count() < len(open_):
        return None
    b = min(open_, key=lambda b: (fits[b].bit_count(), b))
    for i in table.order[b]:
        if not fits[b] >> i & 1:
            continue
        if spent.choices >= BOUND:
            return None
        spent.choices += 1
        narrowed = list(fits)
        for c in open_:
            if c != b:
                partners = table.pairs.get((b, c))
                narrowed[c] &= ~(1 << i) & (partners[i] if partners else -1)
                if not narrowed[c]:
                    break
        else:
            found = _go(table, narrowed, {**chosen, b: i}, spent)
            if found is not None:
                return found
    return None
