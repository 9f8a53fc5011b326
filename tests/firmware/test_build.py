"""The build: limits that fail when they are passed, a core without memory of its own making, one contract."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest
from csim import ROOT

from fieldctl.wire import messages
from fieldctl.wire.messages import _LAYOUT

FIRMWARE = ROOT / "firmware_stubs"
CORE = sorted((FIRMWARE / "core").glob("*.[ch]"))
STANDARD = {"stdint.h", "stdbool.h", "stddef.h", "string.h"}
GENERATED = {"say_up.h", "read_down.h", "keys.h"}


def make(*words: str, check: bool = True) -> subprocess.CompletedProcess[str]:
    command = ["make", "-s", "-j2", "-C", str(FIRMWARE), f"PYTHON={sys.executable}", *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=115, check=check)


def test_code_and_ram_on_a_cortex_m3_are_within_their_limits() -> None:
    said = make("size").stdout
    (code, code_max), (ram, ram_max) = re.findall(r"^(?:code|RAM) +(\d+) of (\d+) bytes", said, re.MULTILINE)
    assert (int(code_max), int(ram_max)) == (24 * 1024, 4 * 1024)
    assert 10_000 < int(code) <= 24 * 1024
    assert 1_000 < int(ram) <= 4 * 1024


@pytest.mark.parametrize("limit", ["CODE_MAX=20000", "RAM_MAX=1500"])
def test_over_a_limit_the_build_fails(limit) -> None:
    assert make("size", limit, check=False).returncode != 0


def test_the_core_calls_nothing_but_its_port_and_string_functions() -> None:
    make("arm-lib")
    objects = map(str, (FIRMWARE / "build/arm").glob("*.o"))
    listed = subprocess.run(["arm-none-eabi-nm", "-u", *objects], capture_output=True, text=True, check=True).stdout
    outside = {n for n in re.findall(r"U (\S+)", listed) if not n.startswith(("fc_", "cbor_", "blake2s", "port"))}
    assert outside <= {"memcpy", "memmove", "memset", "memcmp", "strlen", "__aeabi_uldivmod", "__aeabi_ldivmod"}


@pytest.mark.parametrize("path", CORE, ids=lambda path: path.name)
def test_the_core_includes_itself_its_port_and_standard_headers_without_io(path) -> None:
    own = {other.name for other in CORE} | {"../port/port.h"}
    assert set(re.findall(r'#include [<"]([^>"]+)[>"]', path.read_text())) <= own | STANDARD | GENERATED


@pytest.mark.parametrize("path", CORE, ids=lambda path: path.name)
def test_files_of_the_core_are_small_and_their_lines_too(path) -> None:
    lines = path.read_text().splitlines()
    assert len(lines) <= 500
    assert max(map(len, lines)) <= 120


def test_the_table_of_keys_is_the_contracts() -> None:
    make("made")
    numbers = [int(n) for n in re.findall(r"\d+", (FIRMWARE / "build/made/keys.h").read_text().split("{")[1])]
    rows = {}
    while numbers:
        kind, count = numbers[:2]
        rows[kind] = numbers[2 : 2 + count]
        numbers = numbers[2 + count :]
    read = [*messages.DOWN, messages.Hail, messages.Add]
    wanted = {cls.KIND: [0, *(key for key, *_ in _LAYOUT[cls])] for cls in read if cls is not messages.Horn}
    others = {cls.KIND: [] for cls in (*messages.UP, messages.HailAnswer)}
    assert rows == wanted | others


def test_the_switches_are_those_of_the_list() -> None:
    made = subprocess.run([sys.executable, str(FIRMWARE / "breaks.py")], capture_output=True, text=True, check=True)
    assert made.stdout == (FIRMWARE / "core/breaks.h").read_text()


def test_nothing_that_is_generated_is_in_the_repository() -> None:
    listed = subprocess.run(
        ["git", "-c", "safe.directory=*", "ls-files", "firmware_stubs"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.splitlines()
    assert listed
    assert not [
        path for path in listed if re.search(r"build/|zcbor_|say_up|read_down|keys\.h|\.(o|a|so|elf|bin)$", path)
    ]


def test_under_sanitizers_the_tests_find_nothing() -> None:
    said = make("asan", check=False)
    assert said.returncode == 0, said.stdout[-1000:] + said.stderr[-3000:]
    assert re.search(r"^\d+ passed", said.stdout, re.MULTILINE)


def test_the_tests_go_through_95_of_100_branches() -> None:
    said = make("cover", check=False)
    assert said.returncode == 0, said.stdout[-2000:] + said.stderr[-2000:]
    (branches,) = re.findall(r"^branches ([\d.]+) %", said.stdout, re.MULTILINE)
    assert float(branches) >= 95
