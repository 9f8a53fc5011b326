"""CBOR and the contract against what is published: RFC 8949 examples, and every message by an independent validator."""

from __future__ import annotations

import math
import re
import sys
from dataclasses import fields
from pathlib import Path

import cbor2
import pycddl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parents[1] / "wire"))

from made import ALL, of, widest

from fieldctl.wire import messages as m

# RFC 8949, appendix A, for the types that the contract uses; memory. Each is also taken apart below by the rules of
# RFC 8949, section 3, so that no example stands on memory alone.
APPENDIX_A = {
    "00": 0,
    "01": 1,
    "0a": 10,
    "17": 23,
    "1818": 24,
    "1819": 25,
    "1864": 100,
    "1903e8": 1000,
    "1a000f4240": 1000000,
    "1b000000e8d4a51000": 1000000000000,
    "1bffffffffffffffff": 18446744073709551615,
    "f4": False,
    "f5": True,
    "40": b"",
    "4401020304": b"\1\2\3\4",
    "60": "",
    "6161": "a",
    "6449455446": "IETF",
    "62225c": '"\\',
    "62c3bc": "ü",
    "63e6b0b4": "水",
    "80": [],
    "83010203": [1, 2, 3],
    "98190102030405060708090a0b0c0d0e0f101112131415161718181819": list(range(1, 26)),
    "a0": {},
    "a201020304": {1: 2, 3: 4},
}


def head(major: int, value: int) -> bytes:
    """A head as section 3 says: three bits of type, then the shortest form of the number."""
    if value < 24:
        return bytes([major << 5 | value])
    size = next(n for n in (1, 2, 4, 8) if value < 1 << 8 * n)
    return bytes([major << 5 | 23 + size.bit_length()]) + value.to_bytes(size, "big")


def written(value: object) -> bytes:
    """The deterministic encoding of section 4.2.1 for the contract's types: another route than the library."""
    match value:
        case bool():
            return b"\xf5" if value else b"\xf4"
        case int():
            return head(0, value)
        case bytes():
            return head(2, len(value)) + value
        case str():
            return head(3, len(value.encode())) + value.encode()
        case list() | tuple():
            return head(4, len(value)) + b"".join(map(written, value))
        case dict():
            pairs = sorted((written(key), written(one)) for key, one in value.items())
            return head(5, len(value)) + b"".join(key + one for key, one in pairs)
    raise AssertionError(value)


@pytest.mark.parametrize("encoded", APPENDIX_A)
def test_rfc_8949_appendix_a(encoded):
    value = APPENDIX_A[encoded]
    assert written(value).hex() == encoded, "the example follows the rules of section 3"
    assert cbor2.dumps(value).hex() == encoded
    decoded = cbor2.loads(bytes.fromhex(encoded))
    assert decoded == value
    assert type(decoded) is type(value)


@pytest.mark.parametrize(
    ("encoded", "value"),
    [("f93c00", 1.0), ("fb3ff199999999999a", 1.1), ("f97c00", math.inf), ("20", -1), ("3903e7", -1000), ("f6", None)],
)
def test_what_the_contract_has_not_is_refused_where_it_knows_the_key(encoded, value):
    """RFC 8949, appendix A, too; memory. Valid CBOR, and no number of ours."""
    assert cbor2.loads(bytes.fromhex(encoded)) == value
    with pytest.raises(m.Malformed):
        m.decode(bytes.fromhex("a2000406" + encoded))


@pytest.mark.parametrize("cls", ALL, ids=lambda cls: cls.__name__)
@settings(max_examples=50)
@given(data=st.data())
def test_messages_are_written_deterministically(cls, data):
    """RFC 8949, section 4.2.1, by the other route: integer keys ascend there as they do in the contract."""
    message = data.draw(of(cls))
    values = {f.name: getattr(message, f.name) for f in fields(message)}
    pairs = {m.KEYS[name][0]: value for name, value in values.items() if value is not None}
    assert m.encode(message) == written({0: cls.KIND} | pairs)


# ---- the contract by an independent validator (pycddl, after RFC 8610) --------------------------------------------

CDDL = (Path(m.__file__).parent / "messages.cddl").read_text()


def rule(cls: type[m.Message]) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", "-", cls.__name__).lower()


SCHEMAS = {cls: pycddl.Schema(f"start = {rule(cls)}\n{CDDL}") for cls in ALL}


@pytest.mark.parametrize("cls", ALL, ids=lambda cls: cls.__name__)
@settings(max_examples=40)
@given(data=st.data())
def test_every_message_is_valid(cls, data):
    SCHEMAS[cls].validate_cbor(m.encode(data.draw(of(cls))))


@pytest.mark.parametrize("cls", ALL, ids=lambda cls: cls.__name__)
def test_the_widest_with_unknown_keys_is_valid_and_every_damage_is_not(cls):
    """The validator and our reader agree on what is missing or of another kind.

    On what is ill-typed only our reader can be asked: pycddl 0.6 lets `* uint => any` take a key whose own entry did
    not fit, and passes over text keys.
    """
    good = cbor2.loads(m.encode(widest(cls)))
    SCHEMAS[cls].validate_cbor(cbor2.dumps(good))
    SCHEMAS[cls].validate_cbor(cbor2.dumps(good | {len(m.KEYS) + 1: [1, {2: b"x"}], 2**63: "y"}))
    optional = {m.KEYS[f.name][0] for f in fields(cls) if f.default is None}
    bad = [{**good, 0: 99}]
    bad += [{k: v for k, v in good.items() if k != key} for key in good if key not in optional]
    for damaged in bad:
        with pytest.raises(pycddl.ValidationError):
            SCHEMAS[cls].validate_cbor(cbor2.dumps(damaged))
        with pytest.raises(m.Malformed):
            m.decode(cbor2.dumps(damaged))
    for damaged in [*({**good, key: -1} for key in good), {**good, "text": 1}]:
        with pytest.raises(m.Malformed):
            m.decode(cbor2.dumps(damaged))
