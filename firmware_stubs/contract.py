"""What the build makes of the one contract, `fieldctl/wire/messages.cddl`: input for zcbor, and a table of keys.

    python3 contract.py CDDL FOLDER

FOLDER/contract.cddl  the contract with one type renamed (`strike` → `strike-told`): zcbor would make one C name of the
                      type `strike` with its key `boot` and of the key `strike-boot`
FOLDER/keys.h         for every kind that a target reads its keys, as they have to come; for the others none; what an
                      older contract has not is left out
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

READ = (
    *("grant", "renew", "quiet", "all-off", "ack", "ask", "arm", "sleep", "rekey", "leave"),
    *("hail", "add", "trace-ask"),
)
NOT_READ = ("status", "strike", "outcome", "greeting", "report", "counters", "hail-answer", "trace")
HEAD = (
    "/* Made by contract.py from the contract; not for editing. Kind, how many keys, the keys in ascending order. */\n"
)


def kinds(cddl: str) -> dict[str, tuple[int, list[int]]]:
    """Kind and keys of each message, by its name."""
    text = re.sub(r";.*", "", cddl)
    numbers = {name: int(value) for name, value in re.findall(r"^([a-z0-9-]+) = (\d+)$", text, re.MULTILINE)}
    found = {}
    for name, body in re.findall(r"^([a-z-]+) = \{(.*?)\}", text, re.MULTILINE | re.DOTALL):
        pairs = re.findall(r"([a-z0-9-]+) => ([^,]+)", body)
        keys = sorted(numbers[key] for key, _ in pairs if key != "uint")
        found[name] = (int(dict(pairs)["kind"]), keys)
    return found


def main(cddl: Path, folder: Path) -> None:
    """Write both files."""
    text = cddl.read_text(encoding="utf-8")
    renamed = re.sub(r"(?m)^strike = ", "strike-told = ", text).replace(" strike /", " strike-told /")
    (folder / "contract.cddl").write_text(renamed, encoding="utf-8")
    found = kinds(text)
    rows = [[found[name][0], len(found[name][1]), *found[name][1]] for name in READ if name in found]
    rows += [[found[name][0], 0] for name in NOT_READ if name in found]
    lines = "".join(f"    {', '.join(map(str, row))},\n" for row in rows)
    (folder / "keys.h").write_text(f"{HEAD}static const uint8_t CONTRACT_KEYS[] = {{\n{lines}}};\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
