"""The line of every key is right: against documents that are built line by line, and against tomllib and json."""

import json
import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.textlines import Path, json_lines, toml_lines

SAMPLE = '''\
title = "a # no comment" # a comment
"quoted key" = 1
'lit.eral' = 2
a.b.c = 3

[zone]
text = """
zone = "not a key"
[[not.a.header]]
\\""" still inside ""x"""""
after = \'\'\'
it's = 1\'\'\'
when = 1979-05-27 07:32:00

  [[target]]  # indented
  id = "one"
  points = [ # a list over lines
    [0, 0], [1,
     2],
    # nothing
    { x = 1, "y z" = [3] },
  ]
[target.inner]
deep = true
[[target]]
id = "two"
[[target.part]]
n = 1
[[target.part]]
n = 2
[target.part.more]
z = inf
'''

EXPECTED: dict[Path, int] = {
    ("title",): 1,
    ("quoted key",): 2,
    ("lit.eral",): 3,
    ("a", "b", "c"): 4,
    ("zone",): 6,
    ("zone", "text"): 7,
    ("zone", "after"): 11,
    ("zone", "when"): 13,
    ("target", 0): 15,
    ("target", 0, "id"): 16,
    ("target", 0, "points", 0): 18,
    ("target", 0, "points", 1): 18,
    ("target", 0, "points", 1, 1): 19,
    ("target", 0, "points", 2, "y z"): 21,
    ("target", 0, "inner", "deep"): 24,
    ("target", 1): 25,
    ("target", 1, "id"): 26,
    ("target", 1, "part", 0, "n"): 28,
    ("target", 1, "part", 1): 29,
    ("target", 1, "part", 1, "more", "z"): 32,
}


def paths(value: Any, under: Path = ()) -> set[Path]:
    """Every path of a parsed document."""
    found: set[Path] = set()
    rows = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in rows:
        found |= {(*under, key)} | paths(inner, (*under, key))
    return found


def test_a_document_with_everything_in_it() -> None:
    lines = toml_lines(SAMPLE)
    assert {path: lines[path] for path in EXPECTED} == EXPECTED
    assert set(lines) == paths(tomllib.loads(SAMPLE))


def test_a_table_stands_where_it_is_first_named() -> None:
    assert toml_lines("a.x = 1\na.y = 2\n[b.c]\n[b]\n")[("a",)] == 1
    assert toml_lines("[b.c]\nk = 1\n[b]\n")[("b",)] == 1


@pytest.mark.parametrize("text", ["", "\n\n", "# only this", "k = 1", "k=[]\n", "[a]", "a = {}\r\nb = 1\r\n"])
def test_small_documents(text: str) -> None:
    assert set(toml_lines(text)) == paths(tomllib.loads(text))


WORDS = st.sampled_from(["a", "b", "name", "x_m", "key-1", "1"])
TEXTS = st.text(max_size=12).map(lambda t: t.replace("\x7f", "").replace("\r", ""))
LINES_INSIDE = st.lists(st.sampled_from(["x = 1", "[t]", "# no", "", "it's", '\\"', "]", "}", "=,"]), max_size=4)


def json_text(text: str) -> str:
    return json.dumps(text)  # a JSON string is a TOML basic string where DEL and lone halves of pairs are left out


SIMPLE = st.one_of(
    st.integers(-9, 99).map(str),
    st.booleans().map(lambda b: str(b).lower()),
    st.sampled_from(["1.5", "inf", "1979-05-27", "07:32:00", "0x1f", "''", "'#'", '""', "'''a''b'''"]),
    st.text(alphabet="ab #[]{}=,.'\"\\\t", max_size=8).map(json_text),
    LINES_INSIDE.map(lambda rows: '"""\n' + "\n".join(rows) + '"""'),
    LINES_INSIDE.map(lambda rows: "'''" + "\n".join(rows) + "'''"),
)


def lists(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    gaps = st.sampled_from([" ", "\n", " # a ] comment\n", "\n\n  "])
    return st.tuples(st.lists(inner, max_size=3), gaps).map(lambda t: "[" + t[1] + ("," + t[1]).join(t[0]) + t[1] + "]")


def tables(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.dictionaries(WORDS, inner, max_size=3).map(
        lambda rows: "{ " + ", ".join(f"{key} = {value}" for key, value in rows.items()) + " }"
    )


VALUES = st.recursive(SIMPLE, lambda inner: lists(inner) | tables(inner), max_leaves=6)


@st.composite
def documents(draw: st.DrawFn) -> tuple[str, dict[Path, int]]:
    """A TOML text built statement by statement, and the line on which each statement's key was put."""
    out: list[str] = []
    told: dict[Path, int] = {}

    def line() -> int:
        return sum(part.count("\n") for part in out) + 1

    def body(path: Path) -> None:
        for key in draw(st.lists(WORDS, max_size=3, unique=True)):
            out.append("\n" * draw(st.integers(0, 2)))
            if draw(st.booleans()):
                out.append("  # x = 1 [no]\n")
            told[(*path, key)] = line()
            quoted = draw(st.sampled_from([key, f'"{key}"', f"'{key}'"]))
            out.append(f"{draw(st.sampled_from(['', '  ']))}{quoted} = {draw(VALUES)} # end\n")

    body(())
    for name in draw(st.lists(st.sampled_from(["t", "u", "v"]), max_size=3, unique=True)):
        if draw(st.booleans()):
            told[(name,)] = line()
            out.append(f"[{name}]\n")
            body((name,))
            continue
        for index in range(draw(st.integers(1, 3))):
            told[(name, index)] = line()
            out.append(f"[[ {name} ]] # row\n")
            body((name, index))
            if draw(st.booleans()):
                told[(name, index, "sub")] = line()
                out.append(f"[{name}.sub]\n")
                body((name, index, "sub"))
    return "".join(out), told


@settings(max_examples=150)
@given(documents())
def test_every_key_has_the_line_it_was_put_on(document: tuple[str, dict[Path, int]]) -> None:
    text, told = document
    parsed = tomllib.loads(text)
    lines = toml_lines(text)
    assert {path: lines.get(path) for path in told} == told
    assert set(lines) == paths(parsed)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=12,
)


@settings(max_examples=100)
@given(JSON)
def test_every_json_key_has_a_line_and_indented_ones_the_right_one(value: Any) -> None:
    text = json.dumps(value, indent=1)
    lines = json_lines(text)
    assert set(lines) == paths(value)
    rows = text.split("\n")
    for path, line in lines.items():
        if isinstance(path[-1], str):
            assert rows[line - 1].lstrip().startswith(json.dumps(path[-1]))
    assert set(json_lines(json.dumps(value)).values()) <= {1}
