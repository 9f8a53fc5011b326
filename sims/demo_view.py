"""How the demo looks in the terminal: a live picture of 24 lines, or a line for each change where nobody watches.

Every state has a shape, a word and a colour of its own. Only what was confirmed is shown, as in `status`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table
    from rich.text import Text

    from sims.demo import Demo

Look = tuple[str, str, str]
"""Shape, word, colour."""

PHASES: dict[str, Look] = {
    "waiting": ("○", "waiting", "dim"),
    "silent": ("◇", "no signal", "dim"),
    "ordered": ("◔", "ordered", "cyan"),
    "sending": ("●", "sending", "bold red"),
    "gone": ("▲", "signal away", "bold magenta"),
    "found-early": ("◪", "found", "yellow"),
    "found": ("■", "found, sends on", "yellow"),
    "found-quiet": ("□", "found, quiet", "green"),
    "over": ("□", "over", "green"),
}
LIVES: dict[str, Look] = {
    "online": ("✓", "heard", "green"),
    "asleep": ("z", "asleep", "blue"),
}
NOT_HEARD: Look = ("!", "", "bold magenta")
STRIKES_SHOWN = 3
COLUMNS = 2


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

    def __init__(self, *, to_stderr: bool) -> None:
        from rich.console import Console
        from rich.live import Live as RichLive

        self._live = RichLive(console=Console(stderr=to_stderr), refresh_per_second=4)

    def __enter__(self) -> Callable[[Demo], Any]:
        self._live.__enter__()
        return self._show

    def __exit__(self, *exc: Any) -> None:
        self._live.__exit__(*exc)

    async def _show(self, demo: Demo) -> None:
        self._live.update(picture(await demo.ask("status"), demo.exercise, demo.strikes))


def _line(demo: Demo) -> str:
    c = demo.controller
    now = c.outside.clock.now()
    if not demo.exercise:
        heard = sum(k.life(now) == "online" for k in c.known.values())
        return f"{heard} of {len(c.known)} targets heard" if c.ready.is_set() else "the controller begins"
    exercise = c.exercises.all[demo.exercise]
    phases = ", ".join(f"{name} {b.phase}" for name, b in exercise.burials.items())
    off = c.all_off.state
    tail = f"; all off: {len(off.confirmed)} confirmed" if off.in_force else ""
    return f"{exercise.status}: {phases}{tail}"


def picture(status: dict[str, Any], exercise: str, strikes: list[Any]) -> Group:
    """The field in the terminal, from a status, the exercise's id and the strikes so far."""
    from rich.console import Group
    from rich.text import Text

    parts: list[RenderableType] = [
        Text("Larch Hollow (invented), simulated. A training aid, not rescue equipment.", style="dim"),
    ]
    found = next((e for e in status["exercises"] if e["exercise"] == exercise), None)
    if found is None:
        parts.append(Text("Waiting until every target is heard and every clock has settled.", style="bold"))
    else:
        parts += [_clock(found), _burials(found)]
    names = {t["target"]: t["name"] for t in status["targets"]}
    parts += [_targets(status["targets"]), *_links(status["links"]), *_strikes(strikes, names), _all_off(status)]
    return Group(*parts)


def _clock(found: dict[str, Any]) -> Text:
    from rich.text import Text

    seconds = found["clock_s"] or 0.0
    clock = f"starts in {-seconds:.0f} s" if seconds < 0 else f"{int(seconds // 60)}:{int(seconds % 60):02d}"
    return Text(f"Drill {found['drill']}: {found['state']}   clock {clock}", style="bold")


def _burials(found: dict[str, Any]) -> Table:
    from rich import box
    from rich.table import Table

    burials = Table(box=box.SIMPLE_HEAD, padding=(0, 1), pad_edge=False)
    for head in ("burial", "target", "state", "found", "may send for"):
        burials.add_column(head)
    for b in found["burials"]:
        find = b["find"]
        said = "" if find is None else f"{find['at_s']:.1f} s ±{find['plus_minus_ms']:.1f} ms, {find['searcher']}"
        left = f"{b['may_send_for_s']:.0f} s" if b["may_send_for_s"] else ""
        burials.add_row(b["burial"], b["name"], _look(PHASES[b["phase"]]), said, left)
    return burials


def _targets(targets: list[dict[str, Any]]) -> Table:
    """All targets in two columns: heard or not, on which link, what they say of their signal, the ± of a stamp now."""
    from rich.table import Table

    grid = Table.grid(padding=(0, 3))
    cells = [_cell(t) for t in targets]
    half = -(-len(cells) // COLUMNS)
    for row in range(half):
        grid.add_row(*cells[row::half])
    return grid


def _cell(t: dict[str, Any]) -> Text:
    shape, word, colour = LIVES.get(t["life"], NOT_HEARD)
    cell = _look((shape, t["name"], colour))
    off = "" if t["plus_minus_ms"] is None else f" ±{t['plus_minus_ms']:.1f} ms"
    return cell.append(f"  {word or t['life']}, {t['signal']}{off}", style="default")


def _links(links: list[dict[str, Any]]) -> list[Text]:
    return [
        _look(("═", f"link {link['name']}: up, {link['targets']} targets", "green"))
        if link["up"]
        else _look(("╳", f"link {link['name']}: down", "bold magenta"))
        for link in links
    ]


def _strikes(strikes: list[Any], names: dict[str, str]) -> list[Text]:
    from rich.text import Text

    kinds = ", ".join(f"{n} {kind}" for kind, n in Counter(f.taken_for for f in strikes).items()) or "none yet"
    lines = [Text(f"strikes: {kinds}")]
    for fact in strikes[-STRIKES_SHOWN:]:
        where = names.get(fact.target, fact.target)
        lines.append(Text(f"  {where}: taken for {fact.taken_for} ±{fact.at.plus_minus_us / 1000:.1f} ms"))
    return lines


def _all_off(status: dict[str, Any]) -> Text:
    from rich.text import Text

    off = status["all_off"]
    if not off["in_force"]:
        return Text("all off is not in force", style="dim")
    took = f" within {off['took_s']} s" if off["took_s"] is not None else ""
    left = ", ".join(u["name"] for u in off["unconfirmed"])
    tail = f", not yet: {left}" if left else ""
    return Text(f"■ ALL OFF: {len(off['confirmed'])} confirmed{took}{tail}", style="bold reverse")


def _look(look: Look) -> Text:
    from rich.text import Text

    shape, word, colour = look
    return Text(f"{shape} {word}", style=colour)
