"""Writes core/breaks.h from the list of `fieldctl certify`: one switch for each requirement.

python breaks.py > core/breaks.h        with fieldctl importable
"""

from __future__ import annotations

from fieldctl.certify.requirements import REQUIREMENTS

HEAD = """/* Switches for tests only: each makes the core break one requirement of `fieldctl certify`, and nothing else.
   What it does wrong stands beside the requirement in fieldctl/certify (`breaks`). A build for use has none.
   Made by breaks.py. */
#ifndef FIELDCTL_BREAKS_H
#define FIELDCTL_BREAKS_H

"""

if __name__ == "__main__":
    switches = [row.switch for row in REQUIREMENTS]
    built = "".join(f"#ifndef {name}\n#define {name} 0\n#endif\n" for name in switches)
    print(f"{HEAD}{built}\n#endif")
