"""A run from its begin to its end: what is not tried and why, targets that die, how one is left, and the pages."""

import json
from dataclasses import replace

import pytest
from broken import broken
from broken_base import Broken

from fieldctl.certify import report
from fieldctl.certify.joining import find, join
from fieldctl.certify.requirements import BY_ID, REQUIREMENTS
from fieldctl.certify.run import Row, certify
from fieldctl.certify.side_door import Shut
from fieldctl.certify.talk import Failed, Silent, Talk, verdict
from fieldctl.errors import LinkDown, NotFound, Refused
from fieldctl.units import EVERYBODY, US_PER_S
from fieldctl.wire import seal
from fieldctl.wire.adding import PRESS_COUNTS_US
from fieldctl.wire.messages import Ability, Reason, Result
from sims.node import ABILITIES, Node
from sims.workbench import SECRET, workbench


def some(*ids: str):
    return [BY_ID[i] for i in ids]


def without(ability: Ability):
    return lambda world, storage: Node(world, world.rng("node"), storage, abilities=ABILITIES & ~int(ability))


@pytest.mark.parametrize("ability", [Ability.PAD, Ability.TRANSMITTER, Ability.SLEEP, Ability.BUTTON, Ability.TRACES])
def test_what_a_target_does_not_declare_does_not_apply_and_all_else_is_tried(ability) -> None:
    with workbench(without(ability)) as (_, talk):
        certificate = certify(talk)
    assert certificate.passed, [(r.requirement.id, r.seen) for r in certificate.rows if r.verdict == "failed"]
    other = {r.id for r in REQUIREMENTS if r.needs & ability or r.medium == "radio"}
    assert {r.requirement.id for r in certificate.rows if r.verdict == "not applicable"} == other
    words = str(ability.name).lower()
    assert all(words in r.seen or "radio" in r.seen for r in certificate.rows if r.verdict == "not applicable")


def test_without_a_side_door_it_is_in_part_and_says_what_was_missing() -> None:
    with workbench() as (bench, talk):
        bench.door = Shut()
        certificate = certify(talk, requirements=some("reboot-named", "late", "strike-cut"))
    rows = {r.requirement.id: r for r in certificate.rows}
    assert rows["reboot-named"].verdict == rows["strike-cut"].verdict == "not tried"
    assert rows["strike-cut"].seen == "the port offers no touch; the port offers no cut"
    assert report.result(certificate) == "in part"
    assert certificate.passed  # of what could be tried
    assert "the keys of this bench are forgotten" in "\n".join(report.as_lines(certificate, None))


def test_a_sites_keys_are_never_put_at_risk() -> None:
    with workbench() as (bench, talk):
        talk.secret = None
        before = talk.keys
        certificate = certify(talk, requirements=some("keys-rotated", "keys-rotated-again", "keys-need-press", "leave"))
        assert bench.node.storage.keys == before
    assert certificate.count("not tried") == 4
    assert (certificate.quiet, certificate.keyless) == (True, False)
    assert "all off latched, epoch 0" in "\n".join(report.as_lines(certificate, None))


@pytest.mark.parametrize("door", [True, False])
def test_a_target_that_dies_fails_what_killed_it_and_is_woken_where_that_can_be(door) -> None:
    class Dies(Node):
        def hear_bytes(self, data: bytes, at_us: int) -> None:
            super().hear_bytes(data, at_us)
            if bytes(130)[:1] + b"\x55" * 130 in data:
                self.power_off()

    with workbench(lambda world, storage: Dies(world, world.rng("node"), storage)) as (bench, talk):
        if not door:
            bench.door = Shut()
        certificate = certify(talk, requirements=some("framing-long", "late", "empty"))
    verdicts = [r.verdict for r in certificate.rows]
    assert verdicts == ["failed", *(["passed"] * 2 if door else ["not tried"] * 2)]
    assert certificate.quiet is door
    assert report.result(certificate) == "failed"
    if not door:
        assert certificate.stopped == "the target did not come back to rest after framing-long"
        assert "NOT CONFIRMED QUIET" in "\n".join(report.as_lines(certificate, None))


def test_a_gate_that_stays_on_at_the_end_is_not_said_to_be_quiet() -> None:
    def stick(what, _number, _of) -> None:
        if isinstance(what, Row):
            bench.node.break_gate(stuck=True)

    with workbench() as (bench, talk):
        certificate = certify(talk, requirements=some("late"), progress=stick)
    assert not certificate.quiet
    assert report.result(certificate) == "failed"


def test_a_line_that_is_lost_ends_the_trying_and_says_so() -> None:
    def pull(what, _number, _of) -> None:
        if isinstance(what, Row):
            raise LinkDown("The adapter was pulled out.", remedy="Plug it in.")

    with workbench() as (_, talk):
        certificate = certify(talk, requirements=some("late", "empty"), progress=pull)
    assert certificate.stopped == "The adapter was pulled out."
    assert [r.verdict for r in certificate.rows] == ["passed", "not tried"]
    assert report.result(certificate) == "in part"


def test_ctrl_c_while_it_sends_leaves_it_quiet() -> None:
    class Interrupted(Talk):
        pass

    with workbench() as (bench, talk):
        wait = bench.wait

        def interrupted(until_us, enough=None) -> None:
            if bench.node.gate.ordered(bench.node.ticks(bench.world.now_us())) and bench.wait is interrupted:
                bench.wait = wait
                raise KeyboardInterrupt
            wait(until_us, enough)

        bench.wait = interrupted
        certificate = certify(talk, requirements=some("quiet", "late"))
        held = bench.node.gate.held
    assert certificate.stopped == "it was broken off by hand"
    assert (certificate.quiet, held) == (True, None)
    assert [r.verdict for r in certificate.rows] == ["not tried", "not tried"]


@pytest.mark.parametrize(
    "field", ["boot", "ticks", "generation", "epoch", "down_high", "number", "strike_ticks", "turnaround", "bad_frames"]
)
def test_a_target_that_says_the_greatest_numbers_there_are_breaks_nothing_here(field) -> None:
    class Boasts(Broken):
        boasting = False

        def said(self, message):
            if self.boasting and hasattr(message, field):
                most = {"ticks": 2**64 - 1, "strike_ticks": 2**64 - 1, "turnaround": 2**16 - 1}.get(field, 2**32 - 1)
                return replace(message, **{field: most})
            return message

    with workbench(lambda world, storage: Boasts(world, world.rng("node"), storage)) as (bench, talk):
        talk.open()
        bench.node.boasting = True
        if field == "down_high":
            with pytest.raises(Failed, match="too few are left"):
                certify(talk)
            return
        certificate = certify(talk)
    assert len(certificate.rows) == len(REQUIREMENTS)
    assert certificate.quiet or certificate.stopped or certificate.count("failed")
    assert report.as_html(certificate, None)


# ---- joining ----------------------------------------------------------------------------------------------------


def test_nobody_and_a_wrong_secret_are_said_in_words() -> None:
    with workbench() as (bench, talk):
        bench.node.power_off()
        with pytest.raises(NotFound, match="Nobody answers a hail"):
            find(bench, talk.entropy)
        bench.node.power_on(bench.node.why)
        bench.node.press()
        with pytest.raises(Refused, match="does not take keys"):
            join(bench, bytes(16), talk.entropy, EVERYBODY, bench.node.press)
        again = join(bench, SECRET, talk.entropy, EVERYBODY, bench.node.press)
        assert again.open().key_version == 1


@pytest.mark.parametrize("medium", ["bus", "radio"])
@pytest.mark.parametrize(("pressed_after_s", "takes_keys"), [(0.2, True), (28, True), (40, False)])
def test_there_is_half_a_minute_to_press_the_button(medium, pressed_after_s, takes_keys) -> None:
    with workbench(medium=medium) as (bench, talk):
        certify(talk, requirements=some("late"))  # and its keys are forgotten
        bench.wait(bench.now() + PRESS_COUNTS_US + US_PER_S)  # so is the first press
        began = bench.now()

        def press() -> None:
            bench.node.scheduler.call_at(bench.world.now_us() + round(pressed_after_s * US_PER_S), bench.node.press)

        if not takes_keys:
            with pytest.raises(Refused, match=r"Nobody pressed the button of .* within 30 s"):
                join(bench, SECRET, talk.entropy, bench.node.address, press)
            assert bench.now() - began < 35 * US_PER_S
            return
        assert join(bench, SECRET, talk.entropy, bench.node.address, press).open().key_version == 1
        assert bench.now() - began < (pressed_after_s + 5) * US_PER_S


def test_under_a_wrong_key_nothing_is_answered() -> None:
    with workbench() as (bench, talk):
        stranger = Talk(bench, talk.address, seal.derive_keys(bytes(16), talk.address, 1), talk.entropy)
        with pytest.raises(Silent):
            stranger.open(0)


# ---- what is told -----------------------------------------------------------------------------------------------


def made(requirement="seal-tag"):
    with workbench(broken(requirement)) as (_, talk):
        return certify(talk, requirements=some("seal-tag", "retained", "late"))


def test_the_page_shows_every_row_and_escapes_what_a_target_says() -> None:
    certificate = made()
    nasty = replace(certificate, greeting=replace(certificate.greeting, firmware="<b>&\"'"))
    page = report.as_html(nasty, "2031-01-18T08:00:00Z")
    assert "<b>&" not in page
    assert "&lt;b&gt;&amp;" in page
    for row in certificate.rows:
        assert f"<b>{row.number}</b>" in page
    assert page.count('class="failed"') == 1
    assert "byte 8 of its tag changed was answered" in page
    for word in ("signature", "date", "Any signal is a person until proved otherwise"):
        assert word in page
    assert "<script" not in page
    assert "src=" not in page


def test_the_json_has_stable_keys() -> None:
    row = json.loads(json.dumps(report.as_json(made(), None)))
    assert list(row) == [
        "certificate", "program", "at", "target", "hardware", "firmware", "contract", "abilities", "medium",
        "side_door", "result", "passed", "failed", "not_applicable", "not_tried", "not_asked_for", "left_quiet",
        "left_keyless", "stopped",
        "generation", "epoch", "requirements",
    ]  # fmt: skip
    assert list(row["requirements"][0]) == ["number", "id", "words", "verdict", "seen", "took_s"]
    assert (row["result"], row["passed"], row["failed"], row["not_applicable"]) == ("failed", 1, 1, 1)


def test_answers_are_told_in_words() -> None:
    assert verdict(Result.REFUSED, Reason.OLDER_EPOCH) == "refused (older epoch)"
    assert verdict(Result.LATE, 0, 1200) == "late by 1200 µs"
    assert verdict(9, 77) == "result 9 (reason 77)"
    assert issubclass(Silent, Failed)
