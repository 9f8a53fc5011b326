"""The command line starts light: heavy packages are imported by the command that needs them (design, section 8)."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("sqlalchemy", "alembic", "fastapi", "numpy", "scipy", "matplotlib", "aiomqtt", "paho", "pydantic", "amqtt",
         "cryptography")  # fmt: skip
# What the command line imports before it knows which command is meant.
LIGHT = (
    "fieldctl", "fieldctl.units", "fieldctl.errors", "fieldctl.events", "fieldctl.keying", "fieldctl.tomlfile",
    "fieldctl.wire", "fieldctl.clock", "fieldctl.strikes", "fieldctl.site", "fieldctl.site.files", "fieldctl.drill",
    "fieldctl.drill.files", "fieldctl.ledger", "fieldctl.links", "sims", "sims.commands",
)  # fmt: skip


def loaded_by(statement: str) -> list[str]:
    """Which heavy packages a fresh Python holds after this statement."""
    code = f"{statement}\nimport sys\nprint(*(name for name in {HEAVY!r} if name in sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


@pytest.mark.parametrize("module", LIGHT)
def test_light_modules_load_nothing_heavy(module: str) -> None:
    assert loaded_by(f"import {module}") == []


def test_help_loads_nothing_heavy() -> None:
    asked = (
        "import contextlib, io, sys\nsys.argv = ['fieldctl', '--help']\nfrom fieldctl.cli.main import main\n"
        "out = io.StringIO()\nwith contextlib.redirect_stdout(out), contextlib.suppress(SystemExit): main()\n"
        "assert 'demo' in out.getvalue(), out.getvalue()"
    )
    assert loaded_by(asked) == []


def test_a_heavy_package_is_seen() -> None:
    assert loaded_by("import fieldctl.physics") == ["numpy"]
