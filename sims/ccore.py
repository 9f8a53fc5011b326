"""The firmware's core as a Python module: found, or built from the sources where there is a compiler.

    core = load()              core.lib, core.ffi
    core = load(broken=True)   a build that can break any requirement of `fieldctl certify` on purpose; tests only:
                               core.lib.fc_sim_break(number of the requirement), for all its targets at once

An installed fieldctl without the sources, a compiler or cffi has the Python target only; `why_not()` says what is
missing.
"""

from __future__ import annotations

import fcntl
import functools
import importlib.util
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from fieldctl.errors import Unreachable

FOLDER = Path(__file__).resolve().parents[1] / "firmware_stubs"
NAME = "fieldctl_core"
BUILD_WITHIN_S = 300.0


def why_not() -> str | None:
    """What is missing for targets that run the firmware; None when nothing is."""
    if not (FOLDER / "Makefile").is_file():
        return "the firmware's sources are not here: they come with a checkout, not with an installed fieldctl"
    for tool in ("make", "gcc", "ar"):
        if shutil.which(tool) is None:
            return f"there is no {tool}"
    if importlib.util.find_spec("cffi") is None:
        return "the Python package cffi is not installed"
    return None


@functools.cache
def load(*, broken: bool = False, contract: str = "") -> Any:
    """The module, built when it is not up to date; Unreachable with the remedy when it cannot be."""
    missing = why_not()
    if missing is not None:
        raise Unreachable(
            f"Targets that run the firmware (C) cannot be made: {missing}.",
            expected="a checkout, with make, gcc and the Python package cffi",
            remedy="Install what is missing, or use --targets python.",
        )
    build = FOLDER / "build" / ("broken" if broken else f"contract-{Path(contract).stem}" if contract else "")
    build.mkdir(parents=True, exist_ok=True)
    command = ["make", "-s", "-C", str(FOLDER), f"B={build}", f"PYTHON={sys.executable}", "cffi"]
    command += ["CHOSEN=1"] if broken else []
    command += [f"CONTRACT={contract}"] if contract else []
    with (FOLDER / "build" / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # several processes may want it at once
        made = subprocess.run(command, capture_output=True, text=True, timeout=BUILD_WITHIN_S, check=False)
    if made.returncode != 0:
        raise Unreachable(
            f"The firmware did not build: {made.stderr.strip()[-600:]}",
            remedy="Run make in firmware_stubs and look at what it says, or use --targets python.",
        )
    return module_in(build)


def module_in(build: Path) -> Any:
    """The module that was built in a folder."""
    path = next((build / "cffi").glob(f"{NAME}.*.so"))
    spec = importlib.util.spec_from_file_location(NAME, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
