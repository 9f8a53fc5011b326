"""Who may import whom: that the contracts in pyproject.toml bite, and what they cannot say."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LINTER = Path(sys.executable).parent / "lint-imports"
PURE = {"wire", "clock", "drill", "strikes", "physics"}  # these that exist are apart and pure


def contracts() -> dict[str, dict[str, object]]:
    table = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    return {contract["id"]: contract for contract in table}


@pytest.mark.parametrize(("contract", "key"), [("apart", "modules"), ("pure", "source_modules")])
def test_no_pure_package_is_forgotten(contract: str, key: str) -> None:
    there = {f"fieldctl.{name}" for name in PURE if (ROOT / "fieldctl" / name / "__init__.py").exists()}
    assert set(contracts()[contract][key]) == there  # type: ignore[call-overload]


# What is planted: file, text added to it, the contract that must say so.
PLANTED = {
    "time in wire": ("wire/planted.py", "import time\n", "pure"),
    "randomness in clock": ("clock/planted.py", "from random import Random\n", "pure"),
    "os inside a function of drill": ("drill/planted.py", "def f():\n    from os import path\n", "pure"),
    "logging in physics": ("physics/planted.py", "import logging.handlers\n", "pure"),
    "asyncio in drill, by way of errors": ("errors.py", "\nimport asyncio\n", "pure"),
    "wire in clock": ("clock/planted.py", "from fieldctl import wire\n", "apart"),
    "clock in drill": ("drill/planted.py", "from fieldctl.clock import TickMap\n", "apart"),
    "drill in physics": ("physics/planted.py", "import fieldctl.drill.plan\n", "apart"),
    "wire in links": ("links/planted.py", "from fieldctl.wire.frames import Frames\n", "links"),
    "wire in links, for types only": (
        "links/planted.py",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from fieldctl.wire import frames\n",
        "links",
    ),
    "a part in a foundation": ("keying.py", "\nfrom fieldctl.site import model\n", "house"),
    "the controller in a part": ("ledger/planted.py", "import fieldctl.controller.planted\n", "house"),
    "the command line in the controller": ("controller/planted.py", "import fieldctl.cli.planted\n", "house"),
    "a new module that nobody placed": ("elsewhere.py", '"""New."""\n', "house"),
    "sims in the product": ("site/planted.py", "from sims import commands\n", "product"),
}


def lint(folder: Path) -> tuple[int, str]:
    done = subprocess.run([LINTER, "--no-logo", "--no-cache"], cwd=folder, capture_output=True, text=True)
    return done.returncode, " ".join(done.stdout.split())


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The two packages and the contracts, to plant things in."""
    folder = tmp_path_factory.mktemp("house")
    for package in ("fieldctl", "sims"):
        shutil.copytree(ROOT / package, folder / package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", folder)
    for later in ("controller", "cli"):
        (folder / "fieldctl" / later).mkdir(exist_ok=True)
        (folder / "fieldctl" / later / "__init__.py").touch()
        (folder / "fieldctl" / later / "planted.py").touch()
    return folder


def test_the_copy_keeps_every_contract(copy: Path) -> None:
    code, said = lint(copy)
    assert code == 0, said


@pytest.mark.parametrize("what", PLANTED)
def test_planted(what: str, copy: Path) -> None:
    where, text, contract = PLANTED[what]
    path = copy / "fieldctl" / where
    before = path.read_bytes() if path.exists() else None
    path.write_bytes((before or b"") + text.encode())
    try:
        code, said = lint(copy)
    finally:
        if before is None:
            path.unlink()
        else:
            path.write_bytes(before)
    assert code == 1, said
    assert f"{contracts()[contract]['name']} BROKEN" in said


# What a package may not even name, since no import would show it.
IO_CALLS = {"open", "print", "input", "exec", "eval", "compile", "__import__", "breakpoint"}
READS_AND_WRITES = {"read_text", "read_bytes", "write_text", "write_bytes"}
TICKS = {"NodeTicks", "BootId", "ticks"}
BYTES = {"bytes", "bytearray", "memoryview"}  # as what is handed in or held; a digest of a seed is nobody's bytes


def modules(package: str) -> Iterator[Path]:
    folder = ROOT / "fieldctl" / package
    return (path for path in sorted(folder.rglob("*.py")))


def names(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Every name that a module uses, whichever way: line, name."""
    for node in ast.walk(tree):
        match node:
            case ast.Name(id=name) | ast.Attribute(attr=name) | ast.arg(arg=name):
                yield node.lineno, name
            case ast.ImportFrom(names=found) | ast.Import(names=found):
                yield from ((node.lineno, alias.name) for alias in found)


def does_io(text: str) -> list[str]:
    """Calls by which a pure module would read, write or import behind the linter's back."""
    found = []
    for node in ast.walk(ast.parse(text)):
        match node:
            case ast.Call(func=ast.Name(id=name)) if name in IO_CALLS:
                found.append(f"{node.lineno}: {name}()")
            case ast.Attribute(attr=name) if name in READS_AND_WRITES | {"import_module"}:
                found.append(f"{node.lineno}: {name}")
    return found


def sees_ticks(text: str) -> list[str]:
    """Names by which a drill would see bytes or ticks of a target."""
    tree = ast.parse(text)
    found = [f"{line}: {name}" for line, name in names(tree) if name in TICKS or name.endswith("_ticks")]
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign) and node.annotation is not None:
            found += [f"{line}: {name}" for line, name in names(node.annotation) if name in BYTES]
    return found


@pytest.mark.parametrize("package", sorted(PURE))
def test_pure_packages_neither_read_nor_write(package: str) -> None:
    assert [f"{path}:{line}" for path in modules(package) for line in does_io(path.read_text())] == []


def test_drill_sees_stamps_and_never_bytes_or_ticks() -> None:
    assert [f"{path}:{line}" for path in modules("drill") for line in sees_ticks(path.read_text())] == []


def test_these_checks_bite() -> None:
    assert does_io("f = open('x')") == ["1: open()"]
    assert does_io("p.read_text()") == ["1: read_text"]
    assert does_io("importlib.import_module('time')") == ["1: import_module"]
    assert sees_ticks("from fieldctl.units import NodeTicks") == ["1: NodeTicks"]
    assert sorted(sees_ticks("def f(a: bytes, at_ticks): return a.ticks")) == ["1: at_ticks", "1: bytes", "1: ticks"]
    assert sees_ticks("class Frame:\n    body: tuple[bytes, ...]") == ["2: bytes"]
    assert sees_ticks("def rank(seed: int) -> bytes: ...") == []


# The command line is the only place that reads settings, entropy and the wall clock; all else is given them.
GIVEN = {
    ("os", "environ"), ("os", "getenv"), ("os", "urandom"), ("os", "getrandom"),
    ("time", "time"), ("time", "time_ns"), ("uuid", "uuid1"), ("uuid", "uuid4"),
    ("datetime", "now"), ("datetime", "utcnow"), ("datetime", "today"), ("date", "today"),
}  # fmt: skip
ENTROPY = {"secrets"}


def helps_itself(text: str) -> list[str]:
    """Where a module takes what it should be given: settings, entropy, wall clock."""
    found = []
    for node in ast.walk(ast.parse(text)):
        match node:
            case ast.Attribute(value=ast.Name(id=owner) | ast.Attribute(attr=owner), attr=name) if (
                owner,
                name,
            ) in GIVEN or owner in ENTROPY:
                found.append(f"{node.lineno}: {owner}.{name}")
            case ast.ImportFrom(module=str(owner), names=found_names):
                found += [
                    f"{node.lineno}: {owner}.{alias.name}"
                    for alias in found_names
                    if (owner, alias.name) in GIVEN or owner in ENTROPY
                ]
            case ast.Call(func=ast.Attribute(value=ast.Name(id="random"), attr="Random"), args=[]):
                found.append(f"{node.lineno}: random.Random() without a seed")
    return found


def test_settings_entropy_and_wall_clock_come_from_the_command_line() -> None:
    outside = (path for path in sorted((ROOT / "fieldctl").rglob("*.py")) if "cli" not in path.parts)
    assert [f"{path}:{line}" for path in outside for line in helps_itself(path.read_text())] == []


def test_that_check_bites() -> None:
    assert helps_itself("import os\nos.environ['A']") == ["2: os.environ"]
    assert helps_itself("from os import urandom") == ["1: os.urandom"]
    assert helps_itself("datetime.datetime.now()") == ["1: datetime.now"]
    assert helps_itself("secrets.token_bytes(8)") == ["1: secrets.token_bytes"]
    assert helps_itself("time.monotonic_ns()") == []
