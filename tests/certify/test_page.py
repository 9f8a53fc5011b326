"""What a certificate says of what is open: in few lines, and all of it."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st
from shut import DOORS

from fieldctl.certify import report
from fieldctl.certify.requirements import BY_ID, REQUIREMENTS
from fieldctl.certify.run import certify
from sims.workbench import workbench


def test_equal_reasons_are_one_line_and_none_is_left_out() -> None:
    certificate = DOORS[True]
    text = "\n".join(report.as_lines(certificate, None))
    assert "not tried, the port offers no touch: 74-78\n" in text
    open_ = report.left_open(certificate)
    assert len(open_) == len({row.seen for row in certificate.rows if row.verdict == "not tried"})
    assert spelled(open_) == {row.number for row in certificate.rows if row.verdict == "not tried"}
    for line in open_:
        assert line in report.as_html(certificate, None)


def spelled(lines: list[str]) -> set[int]:
    found: set[int] = set()
    for line in lines:
        for part in line.rpartition(": ")[2].split(", "):
            first, _, last = part.partition("-")
            found |= set(range(int(first), int(last or first) + 1))
    return found


@given(st.sets(st.integers(1, 99)))
def test_numbers_in_few_words_name_each_and_no_other(some: set[int]) -> None:
    rising = sorted(some)
    words = report.numbers(rising)
    assert (spelled([f"x: {words}"]) if words else set()) == some
    gaps = sum(after != before + 1 for before, after in pairwise(rising))
    assert len(words.split(", ")) == gaps + 1


def test_what_nobody_asked_for_is_named_and_not_passed() -> None:
    with workbench() as (_, talk):
        certificate = certify(talk, requirements=[BY_ID["late"]])
    number = [r.id for r in REQUIREMENTS].index("late") + 1
    assert report.result(certificate) == "in part"
    assert spelled(report.left_open(certificate)) == set(range(1, len(REQUIREMENTS) + 1)) - {number}
    row = report.as_json(certificate, None)
    assert (row["result"], row["passed"], row["not_asked_for"]) == ("in part", 1, len(REQUIREMENTS) - 1)
    text = "\n".join(report.as_lines(certificate, None))
    assert f"IN PART: 1 passed, 0 failed, 0 not applicable, 0 not tried, {len(REQUIREMENTS) - 1} not asked for" in text
    assert f"not asked for: 1-{number - 1}, {number + 1}-{len(REQUIREMENTS)}" in report.as_html(certificate, None)


def test_a_whole_run_asks_for_everything() -> None:
    with workbench() as (_, talk):
        certificate = certify(talk)
    assert (report.result(certificate), certificate.not_asked, report.left_open(certificate)) == ("passed", (), [])
