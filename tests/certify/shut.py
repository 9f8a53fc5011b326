"""Certificates of a simulated target whose side door is shut: the usual real board on a bench."""

from __future__ import annotations

from fieldctl.certify.run import Certificate, certify
from fieldctl.certify.side_door import Shut
from sims.workbench import workbench


def shut(*, bench_keys: bool) -> Certificate:
    """Everything tried that can be without any side door."""
    with workbench() as (bench, talk):
        bench.door = Shut()
        if not bench_keys:
            talk.secret = None
        return certify(talk)


DOORS = {keys: shut(bench_keys=keys) for keys in (True, False)}
