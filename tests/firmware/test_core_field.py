"""The real controller against a whole field of compiled cores, and what a machine without a compiler is told."""

from __future__ import annotations

import logging
import shutil

import pytest

from fieldctl.certify.requirements import REQUIREMENTS
from fieldctl.errors import EXIT_UNREACHABLE, BadInput, Unreachable
from sims import ccore, demo, report
from sims.plan import draw
from sims.swarm import run
from sims.targets import KINDS, maker


@pytest.fixture(autouse=True)
def _quiet(caplog):
    caplog.set_level(logging.CRITICAL, logger="fieldctl")


@pytest.mark.parametrize("seed", [1, 2, 5, 11, 23, 42])
def test_nothing_breaks(seed) -> None:
    out = run(draw(seed), targets="c")
    assert out.broken == []
    assert out.strikes
    assert out.lost_strikes == 0


def test_the_same_seed_leaves_the_same_trace() -> None:
    assert run(draw(13), targets="c").trace == run(draw(13), targets="c").trace


@pytest.mark.parametrize("requirement", ["grant-runs-out", "strike-kept", "quiet"])
def test_a_broken_core_is_found_in_the_field(requirement, monkeypatch) -> None:
    module = ccore.load(broken=True)
    monkeypatch.setattr(ccore, "load", lambda: module)
    number = next(n for n, r in enumerate(REQUIREMENTS, start=1) if r.id == requirement)
    try:
        assert module.lib.fc_sim_break(number)
        assert any(run(draw(seed), targets="c").broken for seed in range(24))
    finally:
        module.lib.fc_sim_break(0)


def test_without_a_compiler_the_remedy_is_named(monkeypatch, capsys) -> None:
    monkeypatch.setattr(ccore, "load", ccore.load.__wrapped__)
    monkeypatch.setattr(shutil, "which", lambda _tool: None)
    with pytest.raises(Unreachable, match="there is no make"):
        maker("c")
    assert report.main("0:1", as_json=True, targets="c") == EXIT_UNREACHABLE
    assert demo.main(seed=1, headless=True, as_json=True, keep=None, targets="c") == EXIT_UNREACHABLE
    assert "--targets python" in capsys.readouterr().err
    assert maker("python").__name__ == "Node"


def test_installed_without_the_sources_too(monkeypatch, tmp_path) -> None:
    monkeypatch.setattr(ccore, "FOLDER", tmp_path)
    assert "checkout" in ccore.why_not()


def test_a_kind_that_there_is_not() -> None:
    with pytest.raises(BadInput, match="python"):
        maker("cobol")
    assert KINDS[:2] == ("python", "c")
