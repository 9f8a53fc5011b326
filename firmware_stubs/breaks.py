"""Writes core/breaks.h from the list of `fieldctl certify`: one switch for each requirement.

python breaks.py > core/breaks.h        with fieldctl importable
"""

from __future__ import annotations

from fieldctl.certify.requirements import REQUIREMENTS

HEAD = """/* Switches for tests only: each makes the core break one requirement of `fieldctl certify`, and nothing else.
   What it does wrong stands beside the requirement in fieldctl/certify (`breaks`). A build for use has none.
   With BREAKS_CHOSEN a test chooses at run time which one (its number in that list), so that one build serves for all.
   Made by breaks.py. */
#ifndef FIELDCTL_BREAKS_H
#define FIELDCTL_BREAKS_H

#ifdef BREAKS_CHOSEN
extern int fc_breaks;
"""

if __name__ == "__main__":
    switches = [row.switch for row in REQUIREMENTS]
    chosen = "".join(f"#define {name} (fc_breaks == {n})\n" for n, name in enumerate(switches, start=1))
    built = "".join(f"#ifndef {name}\n#define {name} 0\n#endif\n" for name in switches)
    print(f"{HEAD}{chosen}#else\n{built}#endif\n\n#endif")
