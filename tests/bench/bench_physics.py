"""Speed of the dipole: 16 dipoles at a million points against magpylib, in the same run.

magpylib is used as its documentation recommends, all sources and all points in one vectorised call with `sumup`, and
also by its bare core function in a loop over the sources; the quicker of the two is what counts. It uses no threads.
Both sides give the same sum of fields and are compared first. Repetitions alternate, and the best of each counts.
Exits 1 over a limit.
"""

from __future__ import annotations

import sys
import time
import warnings
from collections.abc import Callable

import numpy as np

from fieldctl.physics.dipole import field_strengths, field_sum

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # what the outside reference says when it is loaded is not our affair
    import magpylib

DIPOLES, POINTS, REPEATS = 16, 1_000_000, 5
AT_LEAST = {1: 3.0, 2: 5.0}  # threads: times as fast


def _seconds(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def main() -> int:
    """Measure, print figure, limit and ratio, and return the exit code."""
    rng = np.random.default_rng(457)
    points = rng.uniform([-60, -60, 0], [60, 60, 1], (POINTS, 3))
    places = rng.uniform([-50, -50, -2], [50, 50, -0.5], (DIPOLES, 3))
    moments = rng.normal(size=(DIPOLES, 3)) * 0.01
    sources = [magpylib.misc.Dipole(moment=m, position=p) for m, p in zip(moments, places, strict=True)]

    def by_documentation() -> np.ndarray:
        return np.asarray(magpylib.getH(sources, points, sumup=True))

    def by_core() -> np.ndarray:
        out = np.zeros_like(points)
        for moment, place in zip(moments, places, strict=True):
            spread = np.broadcast_to(moment, points.shape)
            out += magpylib.core.dipole_Hfield(observers=points - place, moments=spread)
        return out

    theirs, ours = by_documentation(), field_sum(moments, places, points, threads=2)
    scale = field_strengths(moments, places, points).sum(axis=0)
    error = float((np.linalg.norm(theirs - ours, axis=1) / scale).max())
    print(f"largest difference from magpylib: {error:.1e} | 1e-06 | {error / 1e-6:.3g}")
    failed = error >= 1e-6
    del theirs, ours, scale

    best: dict[str, float] = {}
    for _ in range(REPEATS):
        for name, work in (
            ("documentation", by_documentation),
            ("core", by_core),
            ("1", lambda: field_sum(moments, places, points)),
            ("2", lambda: field_sum(moments, places, points, threads=2)),
        ):
            best[name] = min(best.get(name, np.inf), _seconds(work))
    print(f"magpylib, documentation {best['documentation']:.3f} s")
    print(f"magpylib, core function {best['core']:.3f} s")
    reference = min(best["documentation"], best["core"])
    for threads, least in AT_LEAST.items():
        ratio = reference / best[str(threads)]
        failed |= ratio < least
        print(
            f"{DIPOLES} dipoles at {POINTS} points, {threads} thread{'s' if threads > 1 else ''}: {ratio:.1f} times as"
            f" fast as the quicker of two ways to use magpylib | at least {least:.0f} times | {least / ratio:.3f}"
        )
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
