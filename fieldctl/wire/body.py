"""The one map that a body is, read whole: well-formed, of distinct whole keys, with nothing after it.

What its keys mean is in `messages`; the firmware's core looks at a body in the same way (`core/body.c`).
"""

from __future__ import annotations

from io import BytesIO
from typing import Any

import cbor2

DEPTH_MAX = 8  # containers in one another inside an unknown key: more is nothing that anybody meant


class Malformed(Exception):
    """A body that is no message of the contract; `kind` is the word under which it is counted."""

    def __init__(self, kind: str, detail: str) -> None:
        super().__init__(f"{kind}: {detail}")
        self.kind = kind


def _as_written(value: object, _immutable: bool) -> object:
    return value


# cbor2 would compile patterns, build decimals and read dates for these tags; the contract has none of them
_TAGS = (0, 1, 2, 3, 4, 5, 25, 28, 29, 30, 35, 36, 37, 52, 54, 100, 256, 258, 260, 261, 1004, 43000, 55799)
_TAGS_AS_WRITTEN = dict.fromkeys(_TAGS, _as_written)


def read_map(body: bytes) -> dict[int, Any]:
    """The whole body as one map of distinct whole keys."""
    try:
        with BytesIO(body) as stream:
            got = cbor2.CBORDecoder(
                stream,
                max_depth=DEPTH_MAX,
                allow_indefinite=False,
                allow_duplicate_keys=False,
                semantic_decoders=_TAGS_AS_WRITTEN,
            ).decode()
            surplus = stream.read()
    except (cbor2.CBORError, RecursionError, ValueError, OverflowError, TypeError) as error:
        raise Malformed("not-cbor", str(error)) from None
    if surplus:
        raise Malformed("surplus", f"{len(surplus)} bytes after the map")
    if type(got) is not dict:
        raise Malformed("no-map", f"a body is a map, not {type(got).__name__}")
    if not all(type(key) is int and key >= 0 for key in got):  # true and 1.0 are equal to 1 here, not on the wire
        raise Malformed("bad-key", "keys are whole numbers")
    return got
