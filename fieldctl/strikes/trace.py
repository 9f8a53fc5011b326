"""The raw trace of one strike as people look at it: distances from the baseline at moments about its begin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldctl.events import TraceRead

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
    def heard(self) -> tuple[tuple[float, int], ...]:
        """Those that were heard; at least one."""
        return tuple((ms, step) for ms, step in self.points if step is not None)

    @property
    def peak(self) -> tuple[float, int]:
        """The one that is farthest from the baseline, of those that were heard."""
        return max(self.heard, key=lambda point: abs(point[1]))

    @property
    def rest(self) -> float | None:
        """Root mean square of what was heard before the begin, in steps; None where nothing of that was."""
        before = [step for ms, step in self.heard if ms < 0]
        return None if not before else (sum(step * step for step in before) / len(before)) ** 0.5


def of_fact(fact: TraceRead) -> StrikeTrace:
    """A trace that was read."""
    gone = {n for part in fact.missing for n in range(part * fact.size, (part + 1) * fact.size)}
    samples = tuple(None if n in gone else step for n, step in enumerate(fact.samples))
    return StrikeTrace(fact.every_us, fact.before, fact.begins, fact.scale, samples)


def as_row(fact: TraceRead, name: str, why: str = "") -> dict[str, Any]:
    """A trace that was read, as the verb and the command give it; `why` nothing more could be read."""
    trace = of_fact(fact)
    return {
        "target": fact.target,
        "name": name,
        "boot": fact.boot,
        "number": fact.number,
        "whole": not fact.missing,
        "missing": list(fact.missing),
        "parts": fact.parts,
        "why": why,
        "every_us": trace.every_us,
        "before": trace.before,
        "begins": trace.begins,
        "scale": trace.scale,
        "samples": list(trace.samples),
    }


def of_row(row: Mapping[str, Any]) -> StrikeTrace:
    """The trace of such a row."""
    return StrikeTrace(row["every_us"], row["before"], row["begins"], row["scale"], tuple(row["samples"]))
