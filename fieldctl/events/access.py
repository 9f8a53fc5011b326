"""Access: who may what and until when, whose phones, who came in and who tried.

No secret stands here: passwords, phones' tokens and codes never reach the ledger. Names live apart from it.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.events.fact import Fact
from fieldctl.units import HostTime, PersonId


@dataclass(frozen=True, slots=True)
class AccountMade(Fact):
    """Somebody came in by a one-time code of the machine itself and is in charge from now on."""

    person: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class PasswordChanged(Fact):
    """A person has a password now (another one, perhaps), or has none any more."""

    person: PersonId
    there: bool
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class RightGranted(Fact):
    """A person may do something: for good, or until a moment.

    `until` is the wall's label (RFC 3339), `ends_at` the same moment of the host's clock; both are empty for good, and
    `until` alone where nobody knew the wall's time.
    """

    person: PersonId
    right: str  # watch, instruct, upkeep, in-charge
    until: str
    ends_at: HostTime | None
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class RightEnded(Fact):
    """A right is over: `why` is taken (by a person) or ran-out."""

    person: PersonId
    right: str
    why: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class CodeMade(Fact):
    """A one-time code was made: `what` is phone (pairs one phone of that person) or first (puts somebody in charge)."""

    what: str
    person: PersonId
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class PhonePaired(Fact):
    """A phone acts for a person from now on: `how` is first, code or password; `by` made the code."""

    phone: str
    person: PersonId
    how: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class PhoneEnded(Fact):
    """A phone acts for nobody any more: `why` is signed-out, ended, all-ended, not-seen or ran-out."""

    phone: str
    person: PersonId
    why: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class SignInFailed(Fact):
    """So many wrong passwords and codes since a moment, from so many addresses: one entry for many guesses."""

    passwords: int
    codes: int
    put_off: int  # attempts that were not even looked at: too many before them
    addresses: int
    since: HostTime
    at: HostTime
