"""The emulated board by the one list of requirements: all of it in counted time, some over its UART as a user would."""

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random

from counted_board import CountedBoard

from fieldctl.certify.joining import join
from fieldctl.certify.requirements import REQUIREMENTS
from fieldctl.certify.run import certify
from fieldctl.wire.adding import address_of
from sims.board_bench import Label

FIELDCTL = Path(sys.executable).parent / "fieldctl"
LABEL = Label(b"emul\x5e\xe0\x00\x07", bytes(range(16)))
SOME = ("seal-direction", "late", "alloff-answered", "reboot-order-in-flight", "strike-kept")
WITHIN_S = 300


def test_the_emulated_board_passes_everything(tmp_path: Path) -> None:
    bench = CountedBoard(tmp_path / "board", LABEL)
    try:
        chance = Random("certify the board")
        talk = join(bench, LABEL.secret, chance.randbytes, address_of(LABEL.hardware), lambda: bench.do("press"))
        certificate = certify(talk)
    finally:
        bench.close()
    assert {r.requirement.id: r.seen for r in certificate.rows if r.verdict == "failed"} == {}
    assert certificate.passed
    assert certificate.count("not tried") == 0
    only_over_radio = {r.id for r in REQUIREMENTS if r.medium == "radio"}
    assert {r.requirement.id for r in certificate.rows if r.verdict == "not applicable"} == only_over_radio


@contextmanager
def served() -> Iterator[dict[str, str]]:
    child = subprocess.Popen(
        [sys.executable, "-m", "sims.board", "--serve", "0", "--door", "0"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        yield json.loads(child.stdout.readline())
    finally:
        child.stdin.close()
        child.wait(timeout=30)
        child.stdout.close()


def test_it_is_certified_over_its_uart_as_a_user_would(tmp_path: Path) -> None:
    label = tmp_path / "label.txt"
    only = [word for r in SOME for word in ("--only", r)]
    with served() as where:
        label.write_text(where["secret"])
        words = ["--socket", where["socket"], "--door", where["door"], "--secret-file", str(label), "--json", *only]
        done = subprocess.run(
            [str(FIELDCTL), "certify", *words], capture_output=True, text=True, check=False, timeout=WITHIN_S
        )
    row = json.loads(done.stdout)
    assert {r["id"]: r["verdict"] for r in row["requirements"]} == dict.fromkeys(SOME, "passed"), done.stdout
    assert (done.returncode, row["result"], row["left_quiet"]) == (3, "in part", True)  # some of all are a part
