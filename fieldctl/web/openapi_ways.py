"""The ways in, beside the verbs: what signing in and pairing take and answer, for the API's document."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from fieldctl.controller.verbs import Right
from fieldctl.web.api_models import Asked
from fieldctl.web.api_people import Person, PhoneCode
from fieldctl.web.api_shapes import Answer
from fieldctl.web.signing import FirstAsked, NothingAsked, PairAsked, PasswordAsked, PhoneAsked, SignInAsked


class Entered(Answer):
    """Who has come in; the cookie is the session."""

    person: str
    name: str
    rights: list[Right]


class SignedOut(Answer):
    """This phone speaks for nobody any more."""

    signed_out: Literal[True]


class Own(Person):
    """Oneself: rights, phones, and which of them this is."""

    this_phone: str
    may: list[Right]


@dataclass(frozen=True, slots=True)
class Way:
    """One request of coming in or going out; without `asked` it is a GET."""

    name: str
    says: str
    asked: type[Asked] | None
    answers: tuple[type[Answer], ...]
    problems: tuple[str, ...] = ()
    signed_in: bool = False
    cookie: bool = False
    example: Mapping[str, Any] = field(default_factory=dict)


GUESSED = ("wrong-secret", "too-soon", "refused", "busy")

WAYS: tuple[Way, ...] = (
    Way(
        "first",
        "The first one who is in charge, by the code that serve printed.",
        FirstAsked,
        (Entered,),
        GUESSED,
        cookie=True,
        example={"code": "AB2CD-3EF4G-H5JK6", "name": "Ansel"},
    ),
    Way(
        "pair",
        "Pair this phone by a code.",
        PairAsked,
        (Entered,),
        GUESSED,
        cookie=True,
        example={"code": "AB2CD-3EF4G-H5JK6"},
    ),
    Way(
        "sign-in",
        "Come in by name and password.",
        SignInAsked,
        (Entered,),
        GUESSED,
        cookie=True,
        example={"name": "Ansel", "password": "four larches in a row"},
    ),
    Way("sign-out", "Go out: this phone speaks for nobody any more.", NothingAsked, (SignedOut,), cookie=True),
    Way("own", "Who is signed in on this phone.", None, (Own,), signed_in=True),
    Way(
        "own-phone-code",
        "A code that pairs another phone of one's own.",
        NothingAsked,
        (PhoneCode,),
        ("refused",),
        True,
    ),
    Way(
        "own-phone-end",
        "Let one of one's own phones act no more.",
        PhoneAsked,
        (Own, SignedOut),
        ("not-found",),
        True,
        example={"phone": "0f3c"},
    ),
    Way(
        "own-password",
        "Set, change or drop one's own password.",
        PasswordAsked,
        (Own,),
        GUESSED,
        True,
        example={"new": "four larches in a row"},
    ),
)
