"""`fieldctl demo` and `fieldctl sim`: what the simulated mountain adds to the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

demo = typer.Typer(
    help=(
        "A whole simulated field and a drill on it: twelve targets, three burials, about 40 seconds. No hardware. "
        "Ctrl-C switches everything off first, then leaves."
    ),
    invoke_without_command=True,
    subcommand_metavar="",
    epilog="Example:  fieldctl demo --headless --json --seed 7",
)
sim = typer.Typer(help="Shake the simulated field.", no_args_is_help=True)

Targets = Annotated[
    str, typer.Option("--targets", metavar="KIND", help="python, or c: the firmware's core, compiled here.")
]
DemoTargets = Annotated[
    str,
    typer.Option(
        "--targets", metavar="KIND", help="python; c: the firmware's core; qemu: the core on emulated boards."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON object on stdout.")]


@demo.callback()
def run_demo(
    headless: Annotated[bool, typer.Option("--headless", help="Without the live view.")] = False,
    json: AsJson = False,
    seed: Annotated[int, typer.Option(help="Draws the field and the searcher.")] = 1,
    keep: Annotated[Path | None, typer.Option(help="Keep the site's folder here: a new or empty one.")] = None,
    targets: DemoTargets = "python",
) -> None:
    """Three burials, one switched on by the first find, all keep sending; then all off and the result."""
    from sims.demo import main

    raise typer.Exit(main(seed=seed, headless=headless, as_json=json, keep=keep, targets=targets))


@sim.command()
def faults(
    seeds: Annotated[str, typer.Option(help="Which seeds, as FROM:TO.")] = "0:300",
    json: AsJson = False,
    targets: Targets = "python",
) -> None:
    """The real controller against the simulated mountain in virtual time: damage first, calm after."""
    from sims.report import main

    raise typer.Exit(main(seeds, as_json=json, targets=targets))


@sim.command()
def script(seed: int) -> None:
    """What a seed decides, as text."""
    from sims.swarm import script_of

    print(script_of(seed))
