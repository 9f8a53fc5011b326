"""The compiled core by the one list of requirements, in virtual time; and for each a build that breaks exactly it."""

import pytest
from c_bench import HARDWARE, SECRET, CBench

from fieldctl.certify.joining import join
from fieldctl.certify.requirements import REQUIREMENTS
from fieldctl.certify.run import Certificate, certify
from fieldctl.wire.adding import address_of
from fieldctl.wire.messages import Ability
from sims import ccore
from sims.cnode import CNode
from sims.storage import Storage
from sims.workbench import workbench
from sims.world import World

NUMBERED = list(enumerate(REQUIREMENTS, start=1))


def certified(module, medium="bus", lacks=0) -> Certificate:
    bench = CBench(module, medium, lacks=lacks)
    return certify(join(bench, SECRET, bench.rng.randbytes, address_of(HARDWARE), lambda: bench.do("press")))


def failed(certificate: Certificate) -> dict[str, str]:
    return {row.requirement.id: row.seen for row in certificate.rows if row.verdict == "failed"}


@pytest.mark.parametrize("medium", ["bus", "radio"])
def test_the_core_passes_everything(medium) -> None:
    certificate = certified(ccore.load(), medium)
    assert failed(certificate) == {}
    assert certificate.passed
    assert certificate.count("not tried") == 0
    other = {r.id for r in REQUIREMENTS if r.medium not in ("", medium)}
    assert {r.requirement.id for r in certificate.rows if r.verdict == "not applicable"} == other


@pytest.mark.parametrize(
    "ability",
    [
        Ability.PAD,
        Ability.TRANSMITTER,
        Ability.SLEEP,
        Ability.BUTTON,
        Ability.LEVELS,
        Ability.TRACES,
    ],
)
def test_without_an_ability_it_says_so_and_passes_all_that_applies(ability) -> None:
    certificate = certified(ccore.load(), lacks=int(ability))
    assert failed(certificate) == {}
    assert certificate.passed
    other = {r.id for r in REQUIREMENTS if r.needs & ability or r.medium == "radio"}
    assert {r.requirement.id for r in certificate.rows if r.verdict == "not applicable"} == other


@pytest.mark.parametrize("medium", ["bus", "radio"])
def test_so_does_the_core_on_the_simulated_mountains_bus_and_air(medium) -> None:
    def make(world: World, storage: Storage) -> CNode:
        return CNode(world, world.rng("node"), storage)

    with workbench(make, medium=medium) as (_, talk):
        certificate = certify(talk)
    assert failed(certificate) == {}
    assert certificate.passed


def test_the_build_that_can_break_everything_is_sound_while_nothing_is_chosen() -> None:
    module = ccore.load(broken=True)
    assert module.lib.fc_sim_break(0)
    assert failed(certified(module)) == {}


@pytest.mark.parametrize(("number", "requirement"), NUMBERED, ids=[r.id for r in REQUIREMENTS])
def test_a_broken_core_fails_exactly_that_one(number, requirement) -> None:
    module = ccore.load(broken=True)
    assert module.lib.fc_sim_break(number)
    try:
        certificate = certified(module, requirement.medium or "bus")
    finally:
        module.lib.fc_sim_break(0)
    assert list(failed(certificate)) == [requirement.id], failed(certificate)
    assert not certificate.passed
