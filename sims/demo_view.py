"""How the demo looks in the terminal: a live table, or a line now and then where nobody watches."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Group

    from sims.demo import Demo

SHAPES = {
    "waiting": "○ waiting",
    "silent": "○ no signal",
    "ordered": "◔ ordered",
    "sending": "● sending",
    "gone": "▲ signal away",
    "found-early": "■ found",
    "found": "■ found, sends on",
    "found-quiet": "□ found, quiet",
    "over": "□ quiet",
}


class Quiet:
    """A line for each thing that changes."""

    def __init__(self, say: Callable[[str], None]) -> None:
        self._say = say
        self._last = ""

    def __enter__(self) -> Callable[[Demo], Any]:
        return self._show

    def __exit__(self, *_exc: object) -> None:
        pass

    async def _show(self, demo: Demo) -> None:
        line = _line(demo)
        if line != self._last:
            self._last = line
            self._say(line)


class Live:
    """The field as it stands, four times a second, until it is over."""

    def __init__(self) -> None:
        from rich.live import Live as RichLive

        self._live = RichLive(refresh_per_second=4)

    def __enter__(self) -> Callable[[Demo], Any]:
        self._live.__enter__()
        return self._show

    def __exit__(self, *exc: Any) -> None:
        self._live.__exit__(*exc)

    async def _show(self, demo: Demo) -> None:
        self._live.update(_picture(demo, await demo.ask("status")))


def _line(demo: Demo) -> str:
    c = demo.controller
    now = c.outside.clock.now()
    heard = sum(k.life(now) == "online" for k in c.known.values())
    if not demo.exercise:
        return f"{heard} of {len(c.known)} targets heard"
    exercise = c.exercises.all[demo.exercise]
    phases = ", ".join(f"{name} {b.phase}" for name, b in exercise.burials.items())
    off = c.all_off.state
    tail = f"; all off: {len(off.confirmed)} confirmed" if off.in_force else ""
    return f"{exercise.status}: {phases}{tail}"


def _picture(demo: Demo, status: dict[str, Any]) -> Group:
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    parts: list[Any] = [Text("Larch Hollow (invented), a simulated field. A training aid, not rescue equipment.")]
    exercise = next((e for e in status["exercises"] if e["exercise"] == demo.exercise), None)
    if exercise is not None:
        burials = Table(title=f"{exercise['drill']}: {exercise['state']}, {exercise['clock_s']:.0f} s")
        for head in ("burial", "target", "state", "found", "may send for"):
            burials.add_column(head)
        for b in exercise["burials"]:
            find = b["find"]
            found = "" if find is None else f"{find['at_s']:.1f} s ±{find['plus_minus_ms']:.1f} ms, {find['searcher']}"
            burials.add_row(
                b["burial"],
                b["name"],
                SHAPES[b["phase"]],
                found,
                f"{b['may_send_for_s']:.0f} s" if b["may_send_for_s"] else "",
            )
        parts.append(burials)
    targets = Table(title="targets")
    for head in ("target", "link", "state", "signal, as it says", "± ms", "volts"):
        targets.add_column(head)
    for t in status["targets"]:
        targets.add_row(
            t["name"], t["link"], t["life"], t["signal"], str(t["plus_minus_ms"] or "-"), str(t["volts_load"] or "-")
        )
    parts.append(targets)
    off = status["all_off"]
    if off["in_force"]:
        took = f" in {off['took_s']} s" if off["took_s"] is not None else ""
        parts.append(Text(f"ALL OFF: {len(off['confirmed'])} confirmed{took}, {len(off['unconfirmed'])} not yet"))
    return Group(*parts)
