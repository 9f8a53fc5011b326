"""How much of the core's branches the tests go through: a build that counts, the tests that drive the core, and gcovr.

python cover.py BUILD LEAST TEST...     exit code 1 under LEAST per cent; the generated message code is not counted
python cover.py --drive BUILD TEST...   only the tests, with that build
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def drive(build: Path, tests: list[str]) -> int:
    """Run tests with another build in place of the usual one: one that counts, or one under sanitizers."""
    import pytest

    from sims import ccore

    module = ccore.module_in(build)
    ccore.load = lambda **_more: module  # type: ignore[assignment]
    return int(pytest.main(["-q", "-x", "-p", "no:cacheprovider", *tests]))


def main(build: Path, least: float, tests: list[str]) -> int:
    """Build, run in a process of its own (the counts are written as it ends), and sum up."""
    for old in build.rglob("*.gcda"):
        old.unlink()
    ran = subprocess.run([sys.executable, __file__, "--drive", str(build), *tests], cwd=HERE.parent, check=False)
    if ran.returncode:
        return ran.returncode
    command = [
        sys.executable,
        "-m",
        "gcovr",
        "--root",
        str(HERE),
        "--filter",
        str(HERE / "core"),
        "--json-summary",
        "-",
    ]
    said = subprocess.run([*command, str(build)], capture_output=True, text=True, check=True)
    row = json.loads(said.stdout)
    for one in sorted(row["files"], key=lambda one: one["branch_percent"] or 0):
        print(f"{one['branch_covered']:5} of {one['branch_total']:5} branches  {one['filename']}")
    print(f"branches {row['branch_percent']} %, lines {row['line_percent']} %")
    return int(row["branch_percent"] < least)


if __name__ == "__main__":
    if sys.argv[1] == "--drive":
        sys.path.insert(0, str(HERE.parent))
        sys.exit(drive(Path(sys.argv[2]), sys.argv[3:]))
    sys.exit(main(Path(sys.argv[1]), float(sys.argv[2]), sys.argv[3:]))
