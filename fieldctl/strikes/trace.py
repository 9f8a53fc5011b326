"""The raw trace of one strike as people look at it: distances from the baseline at moments about its begin."""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, int | None]
"""Milliseconds from the begin, and steps of the converter about the baseline; None where nobody heard it."""


@dataclass(frozen=True, slots=True)
class StrikeTrace:
    """A trace: one sample every `every_us`, `before` of them before the begin, which had to exceed `begins`.

    Samples are in steps and rounded down to multiples of 2^scale; None where a part is missing.
    """

    every_us: int
    before: int
    begins: int
    scale: int
    samples: tuple[int | None, ...]

    @property
    def points(self) -> tuple[Point, ...]:
        """Every sample with its moment."""
        return tuple(((n - self.before) * self.every_us / 1000, step) for n, step in enumerate(self.samples))

    @property
    def whole(self) -> bool:
        """Whether no part is missing."""
        return None not in self.samples

    @property
    def peak(self) -> Point | None:
        """The sample farthest from the baseline; None where nothing of it was heard."""
        heard = [(ms, step) for ms, step in self.points if step is not None]
        return max(heard, key=lambda point: abs(point[1]), default=None)


def of_parts(
    samples: tuple[int, ...], size: int, missing: tuple[int, ...], about: tuple[int, int, int, int]
) -> StrikeTrace:
    """A trace as the ledger has it, in parts of a size; `about` are every_us, before, begins and scale."""
    gone = {n for part in missing for n in range(part * size, (part + 1) * size)}
    return StrikeTrace(*about, tuple(None if n in gone else step for n, step in enumerate(samples)))
