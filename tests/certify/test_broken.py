"""One list for sound targets, and for each requirement a target that breaks exactly that one."""

import pytest
from broken import BROKEN, broken

from fieldctl.certify.requirements import BY_ID, REQUIREMENTS, as_text
from fieldctl.certify.run import Certificate, certify
from sims.workbench import workbench


def failed(certificate: Certificate) -> dict[str, str]:
    return {row.requirement.id: row.seen for row in certificate.rows if row.verdict == "failed"}


@pytest.mark.parametrize("seed", [7, 8])
@pytest.mark.parametrize("medium", ["bus", "radio"])
def test_a_sound_target_passes_everything(medium, seed) -> None:
    with workbench(medium=medium, seed=seed) as (bench, talk):
        certificate = certify(talk)
        truth = bench.node
        truth.settle()
    assert failed(certificate) == {}
    assert certificate.passed
    other = {r.id for r in REQUIREMENTS if r.medium not in ("", medium)}
    assert {r.requirement.id for r in certificate.rows if r.verdict == "not applicable"} == other
    assert certificate.count("not tried") == 0
    assert [row.number for row in certificate.rows] == list(range(1, len(REQUIREMENTS) + 1))
    assert truth.storage.keys is None  # a bench's keys are forgotten with it
    assert truth.gate.sent
    assert truth.gate.held is None


@pytest.mark.parametrize("requirement", sorted(BROKEN))
def test_a_broken_target_fails_exactly_that_one(requirement) -> None:
    with workbench(broken(requirement), medium=BY_ID[requirement].medium or "bus") as (_, talk):
        certificate = certify(talk)
    assert list(failed(certificate)) == [requirement], failed(certificate)
    assert not certificate.passed
    assert not certificate.stopped


def test_each_requirement_has_a_broken_target() -> None:
    assert set(BROKEN) == set(BY_ID)


def test_the_list_as_text_names_each_with_its_words_and_its_switch() -> None:
    text = as_text()
    for r in REQUIREMENTS:
        assert f"{r.id}: {r.words}" in text
        assert f"{r.switch}: {r.breaks}." in text
