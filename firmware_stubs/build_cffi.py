"""Builds the core as a Python module (cffi, API mode) from the static library that the Makefile made.

    python build_cffi.py FOLDER LIBRARY [NAME]

FOLDER/NAME.*.so; everything that Python may call stands in CALLS, the rest in port/sim/sim.h.
"""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

from cffi import FFI

HERE = Path(__file__).resolve().parent
NAME = "fieldctl_core"

CALLS = """
struct fc_core { ...; };
struct fc_sim_sent { uint64_t at; uint16_t size; uint8_t data[130]; };
struct fc_sim_span { uint64_t on, off; };
struct fc_unit {
    uint16_t turnaround_us; bool radio; uint8_t log_max; uint16_t abilities, weak_mv, low_mv, awake_ua, sending_ua; ...;
};
struct fc_sim {
    struct fc_core core; struct fc_unit unit; uint64_t now, next; bool on, cut; uint8_t level; bool listens, pad_on;
    bool broken_flash, gate_stuck, gate_lies; uint32_t cut_in; bool cut_words; uint8_t cut_when;
    uint32_t writes, words, watchdog; uint16_t rest_mv, load_mv, kelvin10; uint32_t chance; uint8_t nonce[8];
    bool nonce_set, traced; uint32_t sent_count; struct fc_sim_sent sent[32]; uint32_t spans_count;
    struct fc_sim_span *spans; uint8_t flash[...]; ...;
};
struct fc_look {
    uint32_t boot, used, seen, generation, epoch, version, number, charge_mas;
    uint16_t dropped, lost[...];
    uint8_t own[16], all_off[16], before[16];
    bool has_keys, has_before, damaged, off, armed, asleep, held, sends, reads_on, listens;
    uint32_t grant_id; uint64_t from, until, limit; uint16_t period, on, drop_on, drop_off;
    uint8_t level, pending; uint16_t noise, threshold;
};
"""

MORE = """
void fc_sim_set_body(struct fc_sim *sim, uint16_t noise, uint32_t charge);
void fc_sim_number(struct fc_sim *sim, int by);
"""

MORE_C = """
void fc_sim_set_body(struct fc_sim *sim, uint16_t noise, uint32_t charge)
{
    sim->core.pad.variance = (uint64_t)(noise << 8) * (noise << 8) << 8;
    sim->core.kept.charge_mas = charge;
}
void fc_sim_number(struct fc_sim *sim, int by)
{
    sim->core.log.number += by;
}
"""


def functions() -> str:
    """The functions of sim.h, as cffi reads them."""
    text = re.sub(r"/\*.*?\*/", "", (HERE / "port/sim/sim.h").read_text(), flags=re.DOTALL)
    return "\n".join(re.findall(r"^[a-z][^;{}#]*\([^;{}]*\);", text, re.MULTILINE))


def main(folder: Path, library: Path, name: str = NAME) -> None:
    """Write and compile the module."""
    ffi = FFI()
    ffi.cdef(CALLS + functions() + MORE)
    ffi.set_source(
        name,
        '#include "sim.h"\n' + MORE_C,
        sources=[str(HERE / "port/sim/sim.c")],
        include_dirs=[str(HERE / "core"), str(HERE / "port"), str(HERE / "port/sim")],
        extra_objects=[str(library)],
        extra_compile_args=["-O2", "-std=gnu99", *os.environ.get("BROKEN", "").split()],
        extra_link_args=["-Wl,-Bsymbolic"],
    )
    ffi.compile(tmpdir=str(folder))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]).resolve(), *sys.argv[3:4])
