"""Code and RAM of the core on a Cortex-M3, against their limits: exit code 1 over them.

    python3 measure.py SIZE LINKED CODE_MAX RAM_MAX GRAPH...

SIZE is the size program, LINKED the core linked with nothing but the compiler's own library, GRAPHs are gcc's call
graphs with stack use (-fcallgraph-info=su). The deepest stack is the longest way through the graphs; calls by pointer
go to the port (PORT_BYTES), or within zcbor to any of its functions. The one recursion, over containers in containers,
is cut after one turn: before zcbor sees a body, everything that the contract does not name has been cut off it.
"""

from __future__ import annotations

import re
import subprocess
import sys
from functools import cache
from pathlib import Path

PORT_BYTES = (
    160  # for the deepest function of a port, interrupts included: a port that needs more says so in its README
)
LIBRARY_BYTES = 64  # functions of the compiler's library, which come without figures
INDIRECT = "__indirect_call"


def read(paths: list[Path]) -> tuple[dict[str, int], dict[str, set[str]]]:
    """Stack bytes of every function and whom it calls; static ones are named with their file."""
    bytes_of: dict[str, int] = {}
    calls: dict[str, set[str]] = {}
    for path in paths:
        text = path.read_text()
        for title, label in re.findall(r'node: \{ title: "([^"]+)" label: "([^"]+)"', text):
            used = re.search(r"(\d+) bytes", label)
            if used:
                bytes_of[title] = int(used[1])
        for source, target in re.findall(r'edge: \{ sourcename: "([^"]+)" targetname: "([^"]+)"', text):
            made = "zcbor" in path.name or "say_up" in path.name or "read_down" in path.name
            calls.setdefault(source, set()).add(f"{INDIRECT} zcbor" if target == INDIRECT and made else target)
    by_pointer = {name for name in bytes_of if re.search(r"(decode|encode)_|zcbor_", name)}
    calls[f"{INDIRECT} zcbor"] = by_pointer
    bytes_of[f"{INDIRECT} zcbor"] = 0
    bytes_of[INDIRECT] = PORT_BYTES
    return bytes_of, calls


def deepest(bytes_of: dict[str, int], calls: dict[str, set[str]], root: str) -> tuple[int, tuple[str, ...]]:
    """The longest way from a function down."""

    @cache
    def below(name: str, above: frozenset[str]) -> tuple[int, tuple[str, ...]]:
        own = bytes_of.get(name, LIBRARY_BYTES)
        pointer = f"{INDIRECT} zcbor" in above
        ways = [
            below(to, above | {name} if name.startswith(INDIRECT) or "zcbor" in name else frozenset({*above}))
            for to in calls.get(name, ())
            if to not in above and to != name and not (pointer and to.startswith(INDIRECT))
        ]
        most, way = max(ways, default=(0, ()))
        return own + most, (name.rsplit(":", 1)[-1], *way)

    return below(root, frozenset())


def main(size: str, linked: str, code_max: int, ram_max: int, graphs: list[str]) -> int:
    """Print the figures; 1 when one is over its limit."""
    said = subprocess.run([size, linked], capture_output=True, text=True, check=True).stdout.splitlines()[1].split()
    code, variables = int(said[0]) + int(said[1]), int(said[1]) + int(said[2])
    stack, way = deepest(*read([Path(g) for g in graphs]), "footprint")
    ram = variables + stack
    print(f"code {code} of {code_max} bytes ({100 * code // code_max} %)")
    print(f"RAM  {ram} of {ram_max} bytes ({100 * ram // ram_max} %): {variables} of variables, {stack} of stack")
    print(f"deepest: {' > '.join(way)}")
    return int(code > code_max or ram > ram_max)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4]), sys.argv[5:]))
