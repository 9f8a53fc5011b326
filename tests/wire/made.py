"""Messages made by hypothesis from the table of fields, and the extreme ones: every value at its widest."""

from __future__ import annotations

from dataclasses import fields

import cbor2
from hypothesis import strategies as st

from fieldctl.wire import messages as m
from fieldctl.wire.fields import FEATURES_BYTES_MAX, SAMPLES_MAX

ALL = (*m.DOWN, *m.UP, *m.UNSEALED)

U8, U16, U32, U64 = (st.integers(0, (1 << bits) - 1) for bits in (8, 16, 32, 64))
_U8 = {"result", "reason", "what", "contract", "why", "salt", "part", "parts", "before", "scale"}
_U64 = {"ticks", "from_", "until", "limit", "strike_ticks", "since", "press_ticks"}
_U16 = {
    *("flags", "period", "on", "drop_on", "drop_off", "pending", "dropped", "abilities", "turnaround", "rest_mv"),
    *("load_mv", "kelvin10", "noise", "wake", "threshold", "every", "begins"),
}
_OWN = {
    "level": st.integers(1, 100),
    "slots": st.integers(1, 255),
    "features": st.lists(U8 | U16 | U32, min_size=1, max_size=m.FEATURES_MAX)
    .filter(lambda numbers: len(cbor2.dumps(numbers)) <= 1 + FEATURES_BYTES_MAX)
    .map(tuple),
    "nonce": st.binary(min_size=8, max_size=8),
    "hardware": st.binary(min_size=8, max_size=8),
    "proof": st.binary(min_size=8, max_size=8),
    "wrapped": st.binary(min_size=32, max_size=32),
    "firmware": st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=16).filter(
        lambda text: len(text.encode()) <= 16
    ),
    "samples": st.binary(min_size=1, max_size=SAMPLES_MAX),
    "moisture": st.integers(0, 100),
    "armed": st.booleans(),
    "pressed": st.booleans(),
}
_WIDEST = {
    "level": 100,
    "slots": 255,
    "features": (0xFFFF_FFFF,) * 8 + (0xFF,),
    "nonce": b"\xff" * 8,
    "hardware": b"\xff" * 8,
    "proof": b"\xff" * 8,
    "wrapped": b"\xff" * 32,
    "firmware": "f" * 16,
    "samples": b"\xff" * SAMPLES_MAX,
    "moisture": 100,
    "armed": True,
    "pressed": True,
}


def _values(name: str) -> st.SearchStrategy:
    return _OWN.get(name, U8 if name in _U8 else U16 if name in _U16 else U64 if name in _U64 else U32)


def of(cls: type[m.Message]) -> st.SearchStrategy[m.Message]:
    """Any message of a class."""
    return st.builds(
        cls, **{f.name: st.none() | _values(f.name) if f.default is None else _values(f.name) for f in fields(cls)}
    )


def widest(cls: type[m.Message]) -> m.Message:
    """The message of a class that takes the most bytes."""
    bits = {**dict.fromkeys(_U8, 8), **dict.fromkeys(_U16, 16), **dict.fromkeys(_U64, 64)}
    return cls(**{f.name: _WIDEST.get(f.name, (1 << bits.get(f.name, 32)) - 1) for f in fields(cls)})


anything = st.one_of([of(cls) for cls in ALL])
