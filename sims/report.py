"""What `fieldctl sim faults` says: one JSON object or a few lines; what broke, with seed and shrunk script."""

from __future__ import annotations

import json
import sys

from fieldctl.errors import EXIT_FAILURE, EXIT_OK, EXIT_USAGE, FieldctlError
from sims.shrink import shrink
from sims.swarm import run_faults
from sims.targets import maker

SHRUNK_MOST = 3  # scripts that are shrunk; the others name their seeds


def main(seeds: str, *, as_json: bool, targets: str = "python") -> int:
    """Run the seeds FROM:TO; the exit code."""
    first, _, last = seeds.partition(":")
    if not (first.isdigit() and last.isdigit() and int(first) < int(last)):
        print(f"{seeds!r} is no range of seeds. Expected: FROM:TO. To do: try --seeds 0:300", file=sys.stderr)
        return EXIT_USAGE

    try:
        maker(targets)
    except FieldctlError as error:
        print(error, file=sys.stderr)
        return error.exit_code

    def progress(done: int, of: int) -> None:
        if done % 25 == 0 or done == of:
            print(f"{done} of {of} seeds", file=sys.stderr)

    row = run_faults(range(int(first), int(last)), progress=progress, targets=targets)
    for seed in list(dict.fromkeys(b["seed"] for b in row["broken"]))[:SHRUNK_MOST]:
        print(f"shrinking seed {seed}", file=sys.stderr)
        print(shrink(seed, targets=targets), file=sys.stderr)
    whole = int(last) - int(first) >= 300  # fewer seeds need not meet every fault
    well = not row["broken"] and row["same_trace_twice"] and not (whole and row["never_struck"])
    if as_json:
        print(json.dumps(row))
    else:
        print(f"{row['seeds']}: {len(row['broken'])} broken, {row['lost_strikes']} strikes lost of {row['strikes']}")
        print(f"{row['exercises']} exercises, never struck: {', '.join(row['never_struck']) or 'none'}")
    return EXIT_OK if well else EXIT_FAILURE
