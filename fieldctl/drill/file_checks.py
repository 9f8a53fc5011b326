"""What burials of one drill say about each other: who switches whom on, and how far apart they lie."""

from __future__ import annotations

from collections.abc import Sequence

from fieldctl.drill.plan import Burial
from fieldctl.tomlfile import Table, listed, suggestion


def check_after(burials: Sequence[Burial], tables: Sequence[Table]) -> None:
    """Every after-find names another burial, and no chain of them comes back to itself."""
    names = [burial.name for burial in burials]
    after = {burial.name: burial.signal.after for burial in burials if burial.signal.after}
    told: set[str] = set()
    for burial, table in zip(burials, tables, strict=True):
        other = burial.signal.after
        if not other:
            continue
        if other not in names:
            _unknown(table, "after", other, names)
            continue
        chain = [burial.name]
        while (step := after.get(chain[-1])) is not None and step not in chain:
            chain.append(step)
        if step == burial.name and burial.name not in told:
            told.update(chain)
            table.fault(
                "after",
                "it waits for itself: " + " waits for ".join([*chain, burial.name]),
                expected="a chain that begins with a burial that sends at the start, after a delay, or never",
                remedy="Let one of them begin by itself.",
            )


def check_apart(burials: Sequence[Burial], tables: Sequence[Table]) -> None:
    """Wishes for distances name other burials, and no two or three of them contradict each other."""
    names = [burial.name for burial in burials]
    wishes: list[tuple[str, str, float, float, Table]] = []
    for burial, table in zip(burials, tables, strict=True):
        rows = table.tables("apart", most=len(burial.apart)) if burial.apart else []
        for wish, row in zip(burial.apart, rows, strict=True):
            if wish.other == burial.name:
                row.fault(
                    "other",
                    f"{burial.name!r} is this burial itself",
                    expected="the name of another burial",
                    remedy="Name another burial.",
                )
            elif wish.other and wish.other not in names:
                _unknown(row, "other", wish.other, names)
            elif wish.other and wish.least_m <= wish.most_m:
                wishes.append((burial.name, wish.other, wish.least_m, wish.most_m, row))
    if len(set(names)) == len(names):
        _check_distances(names, wishes)


def _check_distances(names: list[str], wishes: list[tuple[str, str, float, float, Table]]) -> None:
    """The shortest way round by `most_m` bounds every distance from above; a `least_m` beyond it cannot be met."""
    far = float("inf")
    most = {(a, b): 0.0 if a == b else far for a in names for b in names}
    for a, b, _, most_m, _ in wishes:
        most[a, b] = most[b, a] = min(most[a, b], most_m)
    for via in names:
        for a in names:
            for b in names:
                most[a, b] = min(most[a, b], most[a, via] + most[via, b])
    for a, b, least_m, _, table in wishes:
        if least_m > most[a, b]:
            table.fault(
                "least_m",
                f"{a} and {b} shall be {least_m:g} m apart or more, but other wishes keep them within {most[a, b]:g} m",
                expected=f"at most {most[a, b]:g}",
                remedy="Change this wish, or the others that name these burials.",
            )


def _unknown(table: Table, key: str, name: str, names: list[str]) -> None:
    near = suggestion(name, names)
    table.fault(
        key,
        f"no burial is called {name!r}" + (f"; did you mean {near!r}?" if near else ""),
        expected=listed(repr(n) for n in names),
        remedy="Name one of those.",
    )
