"""A season's backup: how long it takes to make, to check and to put back, how big it is, how much memory it wants.

The season is invented: 24 targets, 150 days of ten hours, thinned as a serving controller thins, and 40 000 entries.
Limits are held against the time that this process had, so that a busy machine does not decide. Memory is what a
process of its own took at most, less what the same takes with an empty ledger, so that interpreter and libraries do not
count; the passphrase costs little there, since its 64 MiB would hide the rest.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "backup"))

from sites import LEDGER, WORDS, T, back_up, make_site, put_back

from fieldctl.backup.verify import verify
from fieldctl.events import StrikeRecorded
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.telemetry import Telemetry
from fieldctl.units import BootId, HostTime, NodeTicks, Stamp, TargetId

KIT = Path(__file__).parents[1] / "backup"
TARGETS, DAYS, HOURS, ENTRIES = 24, 150, 10, 40_000
MINUTE_US = 60_000_000
WEEK_MINUTES = 7 * HOURS * 60
EACH_S = 10.0  # whoever stands beside a base station with a stick in the hand waits a minute on a board a fifth as fast
MORE_MB = 24.0
OF_LEDGER = 0.5

MEMORY = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from sites import WORDS, back_up, put_back
from fieldctl.backup import passphrase
from fieldctl.backup.verify import verify
whole = passphrase.derive  # whose 64 MiB would hide what the rest takes
passphrase.derive = lambda words, salt, **cost: whole(words, salt, **{**cost, "n": 1024})
folder, out = Path(sys.argv[2]), Path(sys.argv[3])
made = back_up(folder, out / "b.fieldbackup")
assert not verify(made.file, WORDS).flaws
assert not put_back(made.file, out / "new").flaws
# not ru_maxrss, which remembers the process that started this one
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


def show(figure: str, limit: str, ratio: float) -> bool:
    """Print one line; whether the limit is kept."""
    print(f"{figure} | {limit} | {ratio:.3f}")
    return ratio <= 1


def strike(n: int) -> StrikeRecorded:
    """A strike as one arrives."""
    at = HostTime(T.boot, n * 1_000_000)
    wave = tuple((n * 37 + k * 11) % 200 for k in range(8))
    return StrikeRecorded(
        TargetId(f"0a1b2c{n % TARGETS:02x}"), BootId(1), n, NodeTicks(n), Stamp(at, 900), wave, "probe", "r1",
        f"x{n // 40}", "A", "bus", (n, n + 1, n + 2, n + 3),
    )  # fmt: skip


def season(folder: Path) -> float:
    """A season's ledger in a site's folder; its megabytes."""
    with Ledger.open(folder / LEDGER, inline=True, durable=False) as ledger:
        for begin in range(0, ENTRIES, 1_000):
            ledger.append([strike(n) for n in range(begin, begin + 1_000)], at=T)
        hours = [60 * n for n in range(DAYS * HOURS)]
        minutes = [*hours, *range(hours[-1] + 1, hours[-1] + WEEK_MINUTES)]
        for minute in minutes:
            at = HostTime(T.boot, minute * MINUTE_US)
            ledger.put_telemetry(
                [
                    Telemetry(TargetId(f"0a1b2c{n:02x}"), at, None, 3.6 - minute * 1e-6, 3.4, -7.25, 12.0,
                              {"charge_mas": minute * 40 + n, "bad_frames": n})
                    for n in range(TARGETS)
                ]
            )  # fmt: skip
    return (folder / LEDGER).stat().st_size / 1e6


def cpu_s(work: Callable[[], object]) -> float:
    """What some work took of the processor."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def most_mb(site: Path, out: Path) -> float:
    """What a process that backs up, checks and restores took at most."""
    out.mkdir()
    words = [sys.executable, "-c", MEMORY, str(KIT), str(site), str(out)]
    return int(subprocess.run(words, capture_output=True, text=True, check=True).stdout) / 1024


def main() -> int:
    """Measure and print; 1 where a limit is not kept."""
    kept = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        site, small = make_site(folder / "larch", entries=0), make_site(folder / "small")
        size_mb = season(site)
        print(f"a ledger of {size_mb:.0f} MB, {ENTRIES} entries")
        file = folder / "b.fieldbackup"
        for what, work in (
            ("made", lambda: back_up(site, file)),
            ("checked", lambda: verify(file, WORDS)),
            ("put back", lambda: put_back(file, folder / "new")),
        ):
            took = cpu_s(work)
            figure = f"{what} in {took:.1f} s, {size_mb / took:.0f} MB a second"
            kept.append(show(figure, f"{EACH_S:g} s", took / EACH_S))
        of = file.stat().st_size / 1e6 / size_mb
        kept.append(show(f"it takes {of:.2f} of the ledger's room", f"{OF_LEDGER:g}", of / OF_LEDGER))
        more = most_mb(site, folder / "a") - most_mb(small, folder / "c")
        figure = f"memory beyond that for an empty ledger {more:.0f} MB"
        kept.append(show(figure, f"{MORE_MB:g} MB", max(0.0, more) / MORE_MB))
    return 0 if all(kept) else 1


if __name__ == "__main__":
    sys.exit(main())
