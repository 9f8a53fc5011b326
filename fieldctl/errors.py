"""Every error a person can meet: what was wrong, what was expected, what to do.

    FieldctlError
    ├── FileFaults        a file of ours has faults: all of them, each with file, line, key
    ├── Refused           the field may not do that now (closed, all off, no right …)
    ├── NotFound          no such target, drill, exercise, port
    ├── InUse             somebody else holds the port, the site or the socket
    ├── Unreachable       no answer from controller, broker or device
    ├── TimedOut          somebody is there and did not answer in time
    ├── LinkDown          a link is closed or was lost
    ├── LedgerFailed      an entry could not be committed: ends sending
    ├── LedgerBroken      the chain of the ledger does not hold
    ├── BackupBroken      a backup is not what was written
    └── BadInput          a value given on the command line or the socket

A peer's mistake (a bad frame, a target that lies) is never an exception: it is counted by kind and
shown. Our own mistakes are assertions, which stay on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

EXIT_OK = 0
EXIT_FAILURE = 1
EXIT_USAGE = 2
EXIT_PARTLY = 3
EXIT_UNREACHABLE = 4
EXIT_REFUSED = 5
EXIT_TIMEOUT = 7


class FieldctlError(Exception):
    """Base: `what` was wrong, what was `expected`, and the `remedy`; `code` is stable for programs."""

    code: ClassVar[str] = "failed"
    exit_code: ClassVar[int] = EXIT_FAILURE

    def __init__(self, what: str, *, expected: str = "", remedy: str) -> None:
        super().__init__(what)
        self.what = what
        self.expected = expected
        self.remedy = remedy

    def __reduce__(self) -> tuple[Any, ...]:
        """As other exceptions, for a process that hands one to another; the words are given by name only."""
        return _restored, (type(self), self.args, dict(self.__dict__))

    def __str__(self) -> str:
        parts = [self.what]
        if self.expected:
            parts.append(f"Expected: {self.expected}.")
        if self.remedy:
            parts.append(f"To do: {self.remedy}")
        return " ".join(parts)

    def as_json(self) -> dict[str, object]:
        """The error as a JSON object with stable keys."""
        return {"code": self.code, "what": self.what, "expected": self.expected, "remedy": self.remedy}


def _restored(cls: type[FieldctlError], args: tuple[Any, ...], state: dict[str, Any]) -> FieldctlError:
    error = cls.__new__(cls, *args)
    error.args = args
    error.__dict__.update(state)
    return error


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in a file; `line` counts from 1, 0 where no line can be named."""

    file: str
    line: int
    key: str
    wrong: str
    expected: str
    remedy: str

    def __str__(self) -> str:
        wrong = self.wrong if self.wrong.endswith("?") else f"{self.wrong}."
        return f"{self.file}:{self.line}: {self.key}: {wrong} Expected: {self.expected}. To do: {self.remedy}"


class FileFaults(FieldctlError):
    """All faults of one or several files, found in one reading."""

    code = "file-faults"

    def __init__(self, faults: Sequence[Fault]) -> None:
        assert faults, "FileFaults without a fault"
        files = ", ".join(sorted({f.file for f in faults}))
        super().__init__(
            f"{len(faults)} fault{'s' if len(faults) > 1 else ''} in {files}",
            remedy="Mend the lines named and try again; nothing was changed.",
        )
        self.faults = tuple(faults)

    def __str__(self) -> str:
        return "\n".join([self.what + ":", *(f"  {fault}" for fault in self.faults)])

    def as_json(self) -> dict[str, object]:
        """As the base, with every fault."""
        rows = [{name: getattr(f, name) for name in Fault.__slots__} for f in self.faults]
        return {**super().as_json(), "faults": rows}


class Refused(FieldctlError):
    """The field may not do that now; the message says what stands in the way and the remedy."""

    code = "refused"
    exit_code = EXIT_REFUSED


class NotFound(FieldctlError):
    """Nothing of that name."""

    code = "not-found"
    exit_code = EXIT_UNREACHABLE


class InUse(FieldctlError):
    """Somebody else holds it, and the message says who."""

    code = "in-use"
    exit_code = EXIT_REFUSED


class Unreachable(FieldctlError):
    """No answer."""

    code = "unreachable"
    exit_code = EXIT_UNREACHABLE


class TimedOut(FieldctlError):
    """Somebody is there, and did not answer in time."""

    code = "timeout"
    exit_code = EXIT_TIMEOUT


class LinkDown(FieldctlError):
    """A link is closed or was lost; reconnecting is the controller's job."""

    code = "link-down"
    exit_code = EXIT_UNREACHABLE


class LedgerFailed(FieldctlError):
    """An entry could not be committed; whoever meets it ends sending."""

    code = "ledger-failed"


class LedgerBroken(FieldctlError):
    """The chain of hashes does not hold; the message names the first bad entry."""

    code = "ledger-broken"


class BackupBroken(FieldctlError):
    """A backup is cut, damaged or altered; the message says where, and nothing of it was used."""

    code = "backup-broken"


class BadInput(FieldctlError):
    """A value that was given cannot be used."""

    code = "bad-input"
    exit_code = EXIT_USAGE
