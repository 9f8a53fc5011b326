"""Why a drill cannot be staffed: which wish is in the way, and what nearest would do.

`why_burial` speaks about one burial that no candidate fits. `why_together` speaks when each burial has candidates and
yet all together have none: then each row names a wish whose loosening alone would do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from fieldctl.drill.candidate import Candidate, Unmet, wishes
from fieldctl.drill.pairs import Pairs, Span
from fieldctl.drill.plan import Burial, Drill
from fieldctl.drill.staffing import Table, bits, search, shortage
from fieldctl.tomlfile import suggestion

_OWN_WISHES = ("zone", "depth", "orientation")


def why_burial(burial: Burial, rows: Sequence[Candidate]) -> tuple[Unmet, ...]:
    """Each wish of a burial that by itself keeps every candidate out; all together where no single one does."""
    if not rows:
        return (Unmet(burial.name, "usable", "this field has no target at all", "add a target to the field"),)
    if burial.target is not None:
        return (_why_named(burial, rows),)
    met = [(candidate, wishes(burial, candidate)) for candidate in rows]
    found = []
    for wish in ("usable", *_OWN_WISHES):
        nearly = [c for c, marks in met if all(ok for name, ok in marks.items() if name != wish)]
        if nearly:
            best = min(nearly, key=lambda c: (_misses_by(burial, wish, c), c.struck_since_renewed, c.target))
            found.append(Unmet(burial.name, wish, _wrong(burial, wish), _told(best, wish)))
    if found:
        return tuple(found)
    best, marks = min(met, key=lambda row: (sum(not ok for ok in row[1].values()), row[0].target))
    missing = [wish for wish, ok in marks.items() if not ok]
    wrong = "no target meets its wishes, nor all of them but one: " + "; ".join(_wrong(burial, w) for w in missing)
    return (Unmet(burial.name, "together", wrong, "; ".join(_told(best, wish) for wish in missing)),)


def _why_named(burial: Burial, rows: Sequence[Candidate]) -> Unmet:
    others = sum(c.usable for c in rows)
    for candidate in rows:
        if candidate.target == burial.target:
            wrong = (
                f"target {candidate.label} is named outright and cannot be used: {candidate.why_not or 'not usable'}"
            )
            return Unmet(burial.name, "target", wrong, f"any of {others} usable targets, where the picker may choose")
    near = suggestion(str(burial.target), [c.target for c in rows])
    wrong = f"target {burial.target} is named outright and is not of this field"
    return Unmet(burial.name, "target", wrong, f"target {near}" if near else f"any of {others} usable targets")


def _misses_by(burial: Burial, wish: str, candidate: Candidate) -> float:
    if wish == "depth" and burial.depth_m:
        return max(burial.depth_m[0] - candidate.depth_m, candidate.depth_m - burial.depth_m[1])
    if wish == "orientation" and candidate.tilt_deg is not None:
        return 90 - candidate.tilt_deg if burial.orientation == "lying" else candidate.tilt_deg
    return 180.0 if wish == "orientation" else 0.0


def _wrong(burial: Burial, wish: str) -> str:
    if wish == "depth" and burial.depth_m:
        return f"no target that fits lies {burial.depth_m[0]:g} to {burial.depth_m[1]:g} m deep"
    if wish == "zone":
        return f"no target that fits lies in zone {burial.zone}"
    if wish == "orientation":
        return f"no target that fits is {burial.orientation}"
    return "none of the targets that fit can be used"


def _told(candidate: Candidate, wish: str) -> str:
    what = {
        "depth": f"at {round(candidate.depth_m, 2):g} m",
        "zone": f"in zone {candidate.zone}",
        "orientation": "whose axis nobody noted"
        if candidate.tilt_deg is None
        else f"tilted {candidate.tilt_deg:g}° from upright",
        "usable": f"once it can be used ({candidate.why_not or 'not usable'})",
    }
    return f"target {candidate.label} {what[wish]}"


def why_together(drill: Drill, rows: Sequence[Candidate], table: Table, pairs: Pairs) -> tuple[Unmet, ...]:
    """Every single wish without which the drill could be staffed; where there is none, how many burials could."""
    names = [burial.name for burial in drill.burials]
    short = shortage(table.fits)
    if short is not None:
        members, left = short
        who = ", ".join(names[b] for b in members)
        wrong = f"burials {who} fit only {left} target{'s' if left != 1 else ''} between them"
        return (
            Unmet(None, "together", wrong, f"{len(members) - left} burial(s) fewer, or wider wishes for one of them"),
        )
    found = [*_looser_spans(names, rows, table, pairs), *_looser_own(drill, rows, table)]
    if pairs.senders:
        way, _ = search(replace(table, pairs=pairs.undisturbed()))
        if way is not None:
            wrong = "wherever these burials are placed, two signals cannot be told apart"
            found.append(
                Unmet(None, "disturbance", wrong, "a distance wish between the two, which allows a close pair")
            )
    if found:
        return tuple(found)
    most = max(count for count in range(1, len(names)) if _first(table, count))
    wrong = "the wishes together leave no way, whichever one of them is dropped"
    return (Unmet(None, "together", wrong, f"the first {most} of its {len(names)} burials can be staffed"),)


def _first(table: Table, count: int) -> bool:
    """Whether the first so many burials can be staffed by themselves."""
    pairs = {key: rows for key, rows in table.pairs.items() if max(key) < count}
    way, _ = search(Table(table.fits[:count], table.order[:count], pairs))
    return way is not None


def _looser_spans(names: Sequence[str], rows: Sequence[Candidate], table: Table, pairs: Pairs) -> Iterable[Unmet]:
    for span in pairs.spans:
        if search(replace(table, pairs=pairs.without(span)))[0] is None:
            continue  # not even without this wish
        values = sorted({span.off_by_m(m) for i, row in enumerate(pairs.metres) for m in row[:i]})
        way = _least(values, lambda slack_m, span=span: _search_wider(table, pairs, span, slack_m))  # type: ignore[misc]
        if way is not None:
            a, b = way[span.b], way[span.c]
            most = "any distance" if span.most_m == float("inf") else f"{span.most_m:g}"
            wrong = f"no two targets for {names[span.b]} and {names[span.c]} lie {span.least_m:g} to {most} m apart"
            if span.most_m == float("inf"):
                wrong = f"no two targets for {names[span.b]} and {names[span.c]} lie {span.least_m:g} m or more apart"
            nearest = f"targets {rows[a].label} and {rows[b].label}, {pairs.metres[a][b]:.1f} m apart"
            yield Unmet(names[span.c], "apart", wrong, nearest)


def _search_wider(table: Table, pairs: Pairs, span: Span, slack_m: float) -> tuple[int, ...] | None:
    return search(replace(table, pairs=pairs.wider(span, slack_m)))[0]


def _least(values: Sequence[float], try_: Callable[[float], tuple[int, ...] | None]) -> tuple[int, ...] | None:
    """What the least value that works gives, by halving; None where not even the greatest works."""
    best = try_(values[-1]) if values else None
    low, high = 0, len(values) - 1
    while best is not None and low < high:
        middle = (low + high) // 2
        found = try_(values[middle])
        if found is None:
            low = middle + 1
        else:
            best, high = found, middle
    return best


def _looser_own(drill: Drill, rows: Sequence[Candidate], table: Table) -> Iterable[Unmet]:
    for b, burial in enumerate(drill.burials):
        if burial.target is not None:
            continue
        for wish in _OWN_WISHES:
            met = [wishes(burial, c) for c in rows]
            looser = bits(i for i, marks in enumerate(met) if all(ok for name, ok in marks.items() if name != wish))
            if looser == table.fits[b]:
                continue  # this wish keeps nobody out
            fits = (*table.fits[:b], looser, *table.fits[b + 1 :])
            way, _ = search(replace(table, fits=fits))
            if way is not None:
                wrong = f"its {wish} leaves no way for all burials together"
                yield Unmet(burial.name, wish, wrong, _told(rows[way[b]], wish))
