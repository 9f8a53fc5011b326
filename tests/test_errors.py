from __future__ import annotations

import pickle

import pytest

from fieldctl.errors import BadInput, Fault, FieldctlError, FileFaults, NotFound


@pytest.mark.parametrize(
    "error",
    [
        NotFound("There is no drill 'x'.", expected="a, b", remedy="Name one of these."),
        BadInput("No.", remedy="Yes."),
        FileFaults([Fault("site.toml", 3, "name", "it is missing", "a name", "Give one.")]),
    ],
)
def test_one_process_hands_an_error_to_another(error: FieldctlError) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert str(again) == str(error)
    assert again.as_json() == error.as_json()
