"""The order to walk in: a short open path from a start over some places, never longer than the order they came in.

Nearest neighbour, then 2-opt (a piece of the way is turned round while that shortens it), begun from the nearest
neighbours' order and from the given one; the shorter of the two. It is no shortest path, and for the twenty places of
a visit the difference is a few steps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

Point = tuple[float, float]

PASSES_MOST = 40  # 2-opt over 256 places settles in fewer; a bound all the same
SHORTER_M = 1e-9  # what counts as shorter: rounding must not turn a piece to and fro


def walk(start: Point, places: Sequence[Point]) -> list[int]:
    """Indices of `places` (metres) in the order to walk them from `start`."""
    file_order = list(range(len(places)))
    ways = [_turned(start, places, way) for way in (_nearest(start, places), file_order)]
    return min(ways, key=lambda way: length_m(start, [places[i] for i in way]))


def length_m(start: Point, way: Sequence[Point]) -> float:
    """Metres from `start` along the way."""
    return sum(math.dist(a, b) for a, b in zip([start, *way[:-1]], way, strict=True)) if way else 0.0


def _nearest(start: Point, places: Sequence[Point]) -> list[int]:
    left, way, here = set(range(len(places))), [], start
    while left:
        following = min(left, key=lambda i: (math.dist(here, places[i]), i))
        left.remove(following)
        way.append(following)
        here = places[following]
    return way


def _turned(start: Point, places: Sequence[Point], way: Sequence[int]) -> list[int]:
    """2-opt on an open path: its end is free, its start is not."""
    path = [start, *(places[i] for i in way)]
    order = list(way)
    for _ in range(PASSES_MOST):
        shorter = False
        for first in range(1, len(path) - 1):
            for last in range(first + 1, len(path)):
                before = math.dist(path[first - 1], path[first])
                after = math.dist(path[first - 1], path[last])
                if last + 1 < len(path):
                    before += math.dist(path[last], path[last + 1])
                    after += math.dist(path[first], path[last + 1])
                if after < before - SHORTER_M:
                    path[first : last + 1] = path[first : last + 1][::-1]
                    order[first - 1 : last] = order[first - 1 : last][::-1]
                    shorter = True
        if not shorter:
            break
    return order
