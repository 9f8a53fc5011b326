"""Fact <-> canonical JSON body: sorted keys, no blanks, floats by their repr, so that a body has one spelling.

A body of an older version opens with the defaults of what it lacks; what a newer version added is named and stays on
file; a kind that is not known, or a body that does not fit, becomes `Unknown`. Sequences come back as tuples: facts
are frozen.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

from fieldctl.errors import BadInput, LedgerBroken
from fieldctl.events import KINDS, Fact
from fieldctl.ledger.entry import Unknown

_spell = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode


@cache
def _adapter(kind: str) -> TypeAdapter[Fact]:
    return TypeAdapter(KINDS[kind])


@cache
def _dump(kind: str) -> Any:
    return _adapter(kind).serializer.to_python


@cache
def _names(kind: str) -> frozenset[str]:
    return frozenset(each.name for each in fields(KINDS[kind]))


def kind_of(fact: Fact) -> str:
    """The name on file of a fact's kind."""
    return fact.kind if isinstance(fact, Unknown) else type(fact).__name__


def canonical(value: Mapping[str, Any]) -> str:
    """The one spelling of a JSON object; BadInput for what JSON cannot hold (NaN, infinities, halves of characters)."""
    try:
        text = _spell(value)
        text.encode()
    except (ValueError, TypeError) as bad:
        raise BadInput(
            f"A value cannot be written down: {bad}.",
            expected="finite numbers, valid text, and tuples or mappings of them",
            remedy="Give a finite number or plain text; nothing was recorded.",
        ) from bad
    return text


def encode(fact: Fact) -> str:
    """The canonical body of a fact; BadInput where a value cannot be written down."""
    if isinstance(fact, Unknown):
        return canonical(fact.body)
    try:
        plain = _dump(type(fact).__name__)(fact, mode="json", warnings=False)
    except ValueError as bad:  # pydantic's PydanticSerializationError and UnicodeEncodeError are both of this
        raise BadInput(
            f"A {type(fact).__name__} cannot be written down: {bad}.",
            expected="the plain values that the fact's fields name",
            remedy="Give plain values; nothing was recorded.",
        ) from bad
    return canonical(plain)


def decode(kind: str, body: str) -> tuple[Fact, tuple[str, ...]]:
    """The fact of a body, and the dotted names of fields that a newer version added; LedgerBroken if it is not JSON."""
    plain = parse(kind, body)
    if kind not in KINDS:
        return Unknown(kind, plain, "a kind of fact that this version does not know"), ()
    try:
        fact = _adapter(kind).validate_python(plain)
    except ValidationError as misfit:
        first = misfit.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        return Unknown(kind, plain, f"{where}: {first['msg']}"), ()
    if plain.keys() <= _names(kind) and not any(isinstance(value, dict) for value in plain.values()):
        return fact, ()
    return fact, tuple(_beyond(plain, _dump(kind)(fact, mode="json")))


def parse(kind: str, body: str) -> dict[str, Any]:
    """A body as a plain mapping, its sequences as tuples; LedgerBroken if it is not a JSON object."""
    try:
        plain = json.loads(body)
    except (ValueError, TypeError) as bad:
        plain = bad
    if not isinstance(plain, dict):
        raise LedgerBroken(
            f"A {kind} in the ledger cannot be read: {plain!r}.",
            expected="a JSON object",
            remedy="Run `fieldctl ledger verify`: it names the entry; then restore the last good copy.",
        )
    return {key: _frozen(value) for key, value in plain.items()}


def _frozen(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_frozen(each) for each in value)
    if isinstance(value, dict):
        return {key: _frozen(each) for key, each in value.items()}
    return value


def _beyond(body: Mapping[str, Any], known: Mapping[str, Any], under: str = "") -> list[str]:
    """Dotted names in `body` that are not in `known`."""
    names = []
    for key, value in body.items():
        if key not in known:
            names.append(under + key)
        elif isinstance(value, dict) and isinstance(known[key], dict):
            names += _beyond(value, known[key], f"{under}{key}.")
    return names
