"""Metric names, types and units against Prometheus' own rules, and the text against its own client's parser.

Sources: "Metric and label naming", prometheus.io/docs/practices/naming (read in November 2026): an application's
prefix of one word; base units (seconds, celsius, metres, bytes, ratio 0 to 1, volts, amperes, joules, grams) as a
suffix in the plural; an accumulating count ends in `total`, after its unit; a pseudo-metric ends in `info`; label names
are not in the name. "Data model", prometheus.io/docs/concepts/data_model: the letters a name may have. "Exposition
formats", prometheus.io/docs/instrumenting/exposition_formats: HELP and TYPE once for each metric, before its first
sample. What is parsed with is PyPI's prometheus_client (0.26).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest
from prometheus_client.exposition import generate_latest
from prometheus_client.metrics_core import Metric
from prometheus_client.parser import text_string_to_metric_families

from fieldctl.units import HostUs, TargetId
from fieldctl.web.metric_families import Told, families
from fieldctl.web.metrics import _One

NAME = re.compile(r"[a-zA-Z_:][a-zA-Z0-9_:]*\Z")
LABEL = re.compile(r"[a-zA-Z_][a-zA-Z0-9_]*\Z")
BASE_UNITS = ("seconds", "celsius", "meters", "bytes", "ratio", "volts", "amperes", "joules", "grams")
OTHER_UNITS = re.compile(
    r"_(ms|milliseconds|microseconds|us|minutes|hours|days|mv|millivolts|percent|kelvin|kilobytes|kb|mb|mah)(_|\Z)"
)
COUNTED = ("targets", "waiting", "in_force", "open", "up", "failed", "failing")
"""Ends of gauges that count things or say yes and no: no unit in the narrow sense."""


def served() -> Any:
    """As much of a controller as the families look at; every number is invented."""
    known = SimpleNamespace(target=TargetId("5ee00001"), heard_us=HostUs(5_000_000))
    alarm = SimpleNamespace(fact=SimpleNamespace(what="battery"))
    hook = SimpleNamespace(delivered=3, failed=2, dropped=1, waiting=4, failing=True)
    latched = SimpleNamespace(in_force={("5ee00001", "battery"): alarm})
    return SimpleNamespace(
        ledger=SimpleNamespace(last_commit_us=HostUs(7_000_000), where="/nowhere"),
        day=SimpleNamespace(open=True),
        all_off=SimpleNamespace(state=SimpleNamespace(in_force=True, unconfirmed={1: 1})),
        failed=None,
        alarms=SimpleNamespace(latched=latched),
        known={known.target: known},
        states=SimpleNamespace(now=lambda _known, _now: ("weak", "online")),
        lines={"bus": SimpleNamespace(link=object())},
        hook=hook,
    )


def made() -> list[Metric]:
    told = {TargetId("5ee00001"): Told({"rest": 3.4, "load": 3.1}, -12.0, 0.8, HostUs(4_000_000), 0.0012, 5, 1)}
    return list(families(served(), HostUs(9_000_000), told, {"bus": {"bad-crc": 2}}))


def text() -> str:
    return "".join(generate_latest(_One(family)).decode() for family in made())


def parsed() -> Iterator[Metric]:
    return text_string_to_metric_families(text())


def test_its_own_parser_reads_back_every_sample() -> None:
    ours = {(s.name, tuple(sorted(s.labels.items()))): s.value for f in made() for s in f.samples}
    theirs = {(s.name, tuple(sorted(s.labels.items()))): s.value for f in parsed() for s in f.samples}
    assert theirs == ours
    assert len(theirs) > 25


def test_every_family_has_one_help_and_one_type_before_its_samples() -> None:
    helps, types, seen = Counter[str](), Counter[str](), set()
    for line in text().splitlines():
        if line.startswith("# HELP "):
            name, says = line.removeprefix("# HELP ").split(" ", 1)
            helps[name] += 1
            assert says.endswith("."), line
            assert name not in seen
        elif line.startswith("# TYPE "):
            name, kind = line.removeprefix("# TYPE ").split(" ")
            types[name] += 1
            assert kind in ("gauge", "counter")
            assert name not in seen
        else:
            name = re.split(r"[{ ]", line, maxsplit=1)[0]
            seen.add(name)
            assert helps[name] == types[name] == 1, line
    assert set(helps.values()) == set(types.values()) == {1}
    assert seen == set(helps), "a family without any sample would be of no use here"


@pytest.mark.parametrize("family", made(), ids=lambda family: family.name)
def test_a_name_follows_the_rules(family: Metric) -> None:
    for sample in family.samples:
        assert NAME.match(sample.name)
        assert sample.name.startswith("fieldctl_")
        assert not OTHER_UNITS.search(sample.name), "base units only"
        for label in sample.labels:
            assert LABEL.match(label)
            assert not label.startswith("__")
            assert f"_by_{label}" not in sample.name, "label names do not belong into the name"
        ends = sample.name.removesuffix("_total")
        if family.type == "counter":
            assert sample.name.endswith("_total")
            assert sample.value >= 0
        elif family.type == "info":
            assert sample.name.endswith("_info")
        else:
            assert not sample.name.endswith(("_total", "_count", "_sum", "_bucket", "_info", "_created"))
            assert ends.endswith(BASE_UNITS) or ends.endswith(COUNTED), sample.name


def test_units_are_what_they_say() -> None:
    values = {s.name: s.value for f in made() for s in f.samples if s.labels.get("condition", "load") == "load"}
    assert values["fieldctl_target_battery_volts"] == 3.1
    assert values["fieldctl_target_temperature_celsius"] == -12.0
    assert values["fieldctl_target_moisture_ratio"] == 0.8
    assert values["fieldctl_target_clock_error_seconds"] == 0.0012
    assert values["fieldctl_target_report_age_seconds"] == 5.0
