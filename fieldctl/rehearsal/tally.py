"""Outcomes of repetitions, counted: whole numbers only, of a size that does not grow with the repetitions.

Sums of whole numbers come out the same in any order, so that blocks and workers cannot change an answer.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from fieldctl.rehearsal.crew import Field, How

Counts = NDArray[np.int64]


@dataclass(slots=True)
class Tally:
    """Of `runs` repetitions with K burials: `by_second` (K, seconds + 1), finds by the second they ended in;
    `made` (K + 1,), repetitions by how many finds were made;
    each (K,): `by_search`, `by_line`, finds; `before`, burials found earlier, summed over the finds; `loud`, pulses
    strong enough, `spoiled`, those lost to overlap; `waits`, `follows`, `pins` seconds until a signal was taken note
    of, from there to within a few metres, and from there to the find, each summed over finds by search."""

    runs: int
    by_second: Counts
    made: Counts
    by_search: Counts
    by_line: Counts
    before: Counts
    loud: Counts
    spoiled: Counts
    waits: Counts
    follows: Counts
    pins: Counts

    @staticmethod
    def empty(burials: int, seconds: int) -> Tally:
        """Nothing counted yet."""
        zero = [np.zeros(burials, dtype=np.int64) for _ in range(8)]
        seconds_and_finds = (np.zeros(shape, dtype=np.int64) for shape in ((burials, seconds + 1), (burials + 1,)))
        return Tally(0, *seconds_and_finds, *zero)

    def add(self, field: Field) -> None:
        """Count repetitions that are through."""
        self.runs += len(field.index)
        self.made += np.bincount(np.isfinite(field.found_s).sum(axis=1), minlength=len(self.made))
        for k in range(len(self.by_search)):
            found = np.isfinite(field.found_s[:, k])
            at = field.found_s[found, k]
            np.add.at(self.by_second[k], np.minimum(at.astype(np.int64), self.by_second.shape[1] - 1), 1)
            self.before[k] += int(np.sum(field.found_s[found] < at[:, None]))
            search = found & (field.how[:, k] == How.SEARCH)
            self.by_search[k] += int(search.sum())
            self.by_line[k] += int((found & ~search).sum())
            heard, near, end = field.heard_s[search, k], field.near_s[search, k], field.found_s[search, k]
            self.waits[k] += int(heard.sum())
            self.follows[k] += int((near - heard).sum())
            self.pins[k] += int((end - near).sum())
        self.loud += field.loud.sum(axis=0)
        self.spoiled += field.spoiled.sum(axis=0)

    def join(self, other: Tally) -> None:
        """Add what another block counted."""
        self.runs += other.runs
        for f in fields(Tally)[1:]:
            getattr(self, f.name)[...] += getattr(other, f.name)

    def share(self) -> NDArray[np.float64]:
        """Share of repetitions in which each burial was found within the limit, (K,)."""
        return np.asarray((self.by_search + self.by_line) / max(1, self.runs))

    def finds_share(self) -> NDArray[np.float64]:
        """Share of repetitions in which a first, second … find was made, whichever burial it was, (K,)."""
        return np.asarray(1.0 - np.cumsum(self.made)[:-1] / max(1, self.runs))

    def time_to(self, share: float) -> list[int | None]:
        """Second by which each burial was found in so large a share of all repetitions; None: not within the limit."""
        out: list[int | None] = []
        for row in np.cumsum(self.by_second, axis=1):
            at = int(np.searchsorted(row, share * self.runs - 1e-9))
            out.append(at if at < len(row) else None)
        return out
