"""Facts and their bodies: every kind there and back, older and newer bodies."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.errors import BadInput, LedgerBroken
from fieldctl.events import KINDS, Fact, LinkChanged, SignalOn, StrikeRecorded
from fieldctl.ledger.codec import canonical, decode, encode, kind_of
from fieldctl.ledger.entry import Unknown
from fieldctl.units import BootId, HostTime, NodeTicks, Stamp, TargetId

FLOATS = st.floats(allow_nan=False, allow_infinity=False)
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | FLOATS | st.text(),
    lambda inner: st.lists(inner, max_size=3).map(tuple) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)
st.register_type_strategy(float, FLOATS)


def values_of(hint: Any) -> st.SearchStrategy[Any]:
    if getattr(hint, "__origin__", None) is Mapping:
        inner = PLAIN if hint.__args__[1] is Any else st.from_type(hint.__args__[1])
        return st.dictionaries(st.text(), inner, max_size=4)
    return st.from_type(hint)


def facts_of(cls: type[Fact]) -> st.SearchStrategy[Fact]:
    hints = get_type_hints(cls)
    return st.builds(cls, **{each.name: values_of(hints[each.name]) for each in fields(cls)})


@given(st.sampled_from(sorted(KINDS)).flatmap(lambda kind: facts_of(KINDS[kind])))
def test_every_fact_comes_back_as_it_was(fact: Fact) -> None:
    body = encode(fact)
    again, extra = decode(kind_of(fact), body)
    assert again == fact
    assert type(again) is type(fact)
    assert extra == ()
    assert encode(again) == body == canonical(json.loads(body))


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_kind_by_itself(kind: str) -> None:
    """The test above draws kinds; this one leaves none out."""

    @given(facts_of(KINDS[kind]))
    def there_and_back(fact: Fact) -> None:
        assert decode(kind, encode(fact)) == (fact, ())

    from hypothesis import settings

    settings(max_examples=12, deadline=None)(there_and_back)()


STRIKE = StrikeRecorded(
    TargetId("0a1b2c3d"),
    BootId(3),
    7,
    NodeTicks(99),
    Stamp(HostTime("b", 5), 900),
    (1, 2),
    "probe",
    "r1",
    None,
    None,
    "bus1",
)


def test_the_spelling_is_fixed() -> None:
    assert encode(STRIKE) == (
        '{"at":{"at":{"boot":"b","us":5},"plus_minus_us":900},"boot":3,"burial":null,"clock":[],"exercise":null,'
        '"features":[1,2],"late":false,"link":"bus1","number":7,"rule":"r1","taken_for":"probe","target":"0a1b2c3d",'
        '"ticks":99}'
    )


def test_an_older_body_opens_with_defaults() -> None:
    old = json.loads(encode(STRIKE))
    del old["clock"], old["late"]
    assert decode("StrikeRecorded", canonical(old)) == (STRIKE, ())


def test_what_a_newer_version_added_is_named_wherever_it_stands() -> None:
    new = json.loads(encode(STRIKE))
    new["depth_mm"] = 30
    new["at"]["zone"] = "x"
    del new["late"]  # as many names as this version knows, yet not the same ones
    fact, extra = decode("StrikeRecorded", canonical(new))
    assert fact == STRIKE
    assert sorted(extra) == ["at.zone", "depth_mm"]


def test_an_extra_name_beside_plain_values_is_named() -> None:
    body = canonical({"link": "a", "up": True, "why": "", "at": {"boot": "b", "us": 1}, "rssi": -3})
    assert decode("LinkChanged", body) == (LinkChanged("a", True, "", HostTime("b", 1)), ("rssi",))


def test_an_unknown_kind_and_a_body_that_does_not_fit_are_kept_as_they_are() -> None:
    fact, extra = decode("FromTheFuture", '{"target":"0a1b2c3d","x":[1,{"y":2}]}')
    assert isinstance(fact, Unknown)
    assert (fact.kind, fact.body, extra) == ("FromTheFuture", {"target": "0a1b2c3d", "x": (1, {"y": 2})}, ())
    assert encode(fact) == '{"target":"0a1b2c3d","x":[1,{"y":2}]}'
    assert kind_of(fact) == "FromTheFuture"
    odd, _ = decode("SignalOn", '{"exercise":"e"}')
    assert isinstance(odd, Unknown)
    assert "burial" in odd.why


@pytest.mark.parametrize("body", ["", "{", "[1]", "7", '{"a":1}}'])
def test_a_body_that_is_no_object_is_a_broken_ledger(body: str) -> None:
    with pytest.raises(LedgerBroken, match="cannot be read"):
        decode("SignalOn", body)


@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
def test_numbers_that_json_cannot_hold_are_refused(number: float) -> None:
    with pytest.raises(BadInput):
        canonical({"a": number})


def test_values_of_no_plain_kind_are_refused() -> None:
    with pytest.raises(BadInput, match="SignalOn"):
        encode(SignalOn("e", "B", TargetId("0a1b2c3d"), 1, object()))  # type: ignore[arg-type]
