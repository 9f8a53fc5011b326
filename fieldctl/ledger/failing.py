"""What went wrong with the file, in words, with a remedy."""

from __future__ import annotations

import sqlite3

from sqlalchemy.exc import DBAPIError

from fieldctl.errors import FieldctlError, LedgerBroken, LedgerFailed

FIT = "a writable folder on a sound disk with room left"

_BROKEN = (
    "Keep the file as it is, run `fieldctl ledger verify` on a copy, and restore the last good backup. "
    "Nothing may send until then."
)
_CAUSES = (
    ("SQLITE_FULL", "the disk is full", "Free some space, then start fieldctl again. Nothing may send until then."),
    ("SQLITE_READONLY", "the file or its folder is read-only", "Make both writable for this user, then start again."),
    ("SQLITE_CANTOPEN", "the file cannot be opened", "Check that the folder exists and is writable for this user."),
    ("SQLITE_PERM", "access is not permitted", "Make file and folder writable for this user, then start again."),
    (
        "SQLITE_BUSY",
        "another program holds the file",
        "Close other programs that have the database open, then start again.",
    ),
    (
        "SQLITE_LOCKED",
        "another program holds the file",
        "Close other programs that have the database open, then start again.",
    ),
    (
        "SQLITE_IOERR",
        "the disk reports an error",
        "Check the disk and its cable, copy the site folder away, then start again.",
    ),
    ("SQLITE_CONSTRAINT", "the file holds other entries than this program wrote", _BROKEN),
)
_DAMAGED = ("SQLITE_CORRUPT", "SQLITE_NOTADB", "SQLITE_FORMAT")


def in_words(bad: BaseException, where: str) -> FieldctlError:
    """LedgerBroken where the file itself is damaged, LedgerFailed for the rest; an error of ours stays itself."""
    if isinstance(bad, FieldctlError):
        return bad
    cause = bad.orig if isinstance(bad, DBAPIError) and bad.orig is not None else bad
    name = getattr(cause, "sqlite_errorname", "") if isinstance(cause, sqlite3.Error) else ""
    if name.startswith(_DAMAGED):
        return LedgerBroken(f"The ledger {where} is damaged ({cause}).", expected="a whole SQLite file", remedy=_BROKEN)
    for start, words, remedy in _CAUSES:
        if name.startswith(start):
            return LedgerFailed(
                f"The ledger {where} cannot be written: {words} ({cause}).", expected=FIT, remedy=remedy
            )
    if isinstance(cause, OSError):
        return LedgerFailed(
            f"The ledger {where} cannot be opened: {cause.strerror or cause}.",
            expected=FIT,
            remedy="Check that the folder exists and is writable for this user.",
        )
    return LedgerFailed(
        f"The ledger {where} cannot be written: {type(cause).__name__}: {cause}.",
        expected=FIT,
        remedy="Start fieldctl again; if it happens again, keep the file and report this message.",
    )
