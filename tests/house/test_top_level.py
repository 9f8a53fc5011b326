"""What the repository holds: its top level, small modules, nothing of one machine, nothing fetched."""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "fieldctl", "firmware_stubs", "tests", "sims"}
MOST_LINES = 450
PRODUCT = ("fieldctl/", "sims/", "firmware_stubs/")


def held() -> list[str]:
    """Every file that belongs to the repository and is there."""
    git = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
    listed = subprocess.run(git, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return [name for name in listed.split("\0") if name and (ROOT / name).is_file()]


def texts(*starts: str) -> dict[str, str]:
    """The text files among them, by name."""
    found = {}
    for name in held():
        if name.startswith(starts):
            raw = (ROOT / name).read_bytes()
            if b"\0" not in raw:
                found[name] = raw.decode()
    return found


def test_the_top_level_is_these_and_dot_files() -> None:
    assert {top for name in held() if not (top := name.partition("/")[0]).startswith(".")} == TOP_LEVEL


def test_no_module_is_too_long() -> None:
    long = {name: text.count("\n") for name, text in texts("fieldctl/", "sims/").items() if name.endswith(".py")}
    assert {name: lines for name, lines in long.items() if lines > MOST_LINES} == {}


# Written in pieces, so that this file does not hold what it looks for.
OF_A_MACHINE = re.compile(
    "|".join(
        [
            r"(?<![\w.])/(?:wo" + r"rk|ro" + r"ot)/\w",
            r"(?<![\w.])/ho" + r"me/\w",
            r"/opt/(?:py" + r"pi|whe" + r"els)",
            r"py" + r"pi\.org",
            r"python" + r"hosted\.org",
            r"npm" + r"js\.(?:org|com)",
            r"deb\.deb" + r"ian\.org",
            r"index-" + r"url",
            r"find-" + r"links",
        ]
    )
)


def test_no_path_of_a_machine_and_no_address_of_a_registry() -> None:
    found = [
        f"{name}:{number}: {line.strip()}"
        for name, text in texts("").items()
        for number, line in enumerate(text.splitlines(), 1)
        if OF_A_MACHINE.search(line)
    ]
    assert found == []


@pytest.mark.parametrize(
    "line", ["cd /wo" + "rk/main", "open('/ro" + "ot/x')", "https://py" + "pi.org/simple", "--index-" + "url x"]
)
def test_that_check_bites(line: str) -> None:
    assert OF_A_MACHINE.search(line)


# Names of vocabularies, written like addresses and never asked for anything.
NAMES_NOT_ADDRESSES = (
    "http://www.topografix.com/GPX/",
    "http://www.w3.org/2000/svg",
    "http://www.w3.org/1999/xlink",
    "http://www.w3.org/1999/xhtml",
)
ADDRESS = re.compile(r"\b(?:https?|wss?|ftp)://(?!(?:localhost|127\.\d+\.\d+\.\d+|\[::1\])(?![\w.]))[^\s\"'<>)]*")
FETCHERS = {"urllib.request", "urllib3", "http.client", "requests", "httpx", "aiohttp", "ftplib", "xmlrpc"}


POSTS_ALERTS = "fieldctl/links/webhook.py: imports http.client"
"""The one way out: alarms to an address that the site names, none unless it does; nothing is fetched by it."""


def addresses(text: str) -> list[str]:
    """Addresses beyond this machine that are no names of vocabularies."""
    return [found for found in ADDRESS.findall(text) if not found.startswith(NAMES_NOT_ADDRESSES)]


def strings(text: str) -> str:
    """The strings of a Python module that are no docstrings: a source may be named in those and in comments."""
    tree = ast.parse(text)
    said = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    kept = (node for node in ast.walk(tree) if isinstance(node, ast.Constant) and id(node) not in said)
    return "\n".join(node.value for node in kept if isinstance(node.value, str))


def fetchers(text: str) -> list[str]:
    """Modules imported that are there to fetch."""
    found = []
    for node in ast.walk(ast.parse(text)):
        match node:
            case ast.Import(names=aliases):
                found += [alias.name for alias in aliases]
            case ast.ImportFrom(module=str(module), names=aliases):
                found += [module, *(f"{module}.{alias.name}" for alias in aliases)]
    return [name for name in found if name in FETCHERS or name.partition(".")[0] in FETCHERS]


def test_the_product_fetches_nothing() -> None:
    found = []
    for name, text in texts(*PRODUCT).items():
        python = name.endswith(".py")
        found += [f"{name}: {address}" for address in addresses(strings(text) if python else text)]
        found += [f"{name}: imports {module}" for module in fetchers(text)] if python else []
    assert found == [POSTS_ALERTS]


def test_that_check_bites_too() -> None:
    assert addresses('<script src="https://cdn.example/x.js">') == ["https://cdn.example/x.js"]
    assert addresses("http://127.0.0.1:8000/ http://localhost:1 http://[::1]/") == []
    assert addresses("http://localhost.example/ http://127.0.0.1.example/") != []
    assert addresses(strings('"""See https://a.example/."""\nx = "https://b.example/"')) == ["https://b.example/"]
    assert fetchers("from urllib import request\nimport http.client, urllib.parse") == ["urllib.request", "http.client"]


def packages() -> list[str]:
    return sorted(name.removesuffix("/__init__.py").replace("/", ".") for name in texts("fieldctl/", "sims/")
                  if name.endswith("/__init__.py") and "migrations" not in name)  # fmt: skip


def as_ruff_sorts(names: list[str]) -> list[str]:
    """CONSTANTS first, then Classes, then functions."""
    return sorted(names, key=lambda name: (0 if name.isupper() else 1 if name[0].isupper() else 2, name))


@pytest.mark.parametrize("package", packages())
def test_public_names_are_sorted_and_real(package: str) -> None:
    module = importlib.import_module(package)
    public = list(getattr(module, "__all__", []))
    assert public == as_ruff_sorts(public)
    assert [name for name in public if not hasattr(module, name)] == []
    assert len(public) == len(set(public))
