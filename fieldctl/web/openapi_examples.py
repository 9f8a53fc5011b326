"""What answers look like, for the API's document: a problem of every kind, in its own words, and the short answers."""

from __future__ import annotations

from typing import Any

from fieldctl import __version__
from fieldctl.web import api_answers, problems
from fieldctl.web.openapi_ways import Entered, SignedOut

Row = dict[str, Any]

PROBLEMS: dict[str, tuple[str, str, str]] = {
    "bad-input": (
        "ago_s: Input should be greater than or equal to 0.",
        "How long ago, in seconds.",
        "Mend what is listed and ask again; nothing was done.",
    ),
    "file-faults": ("1 fault in drills/two.toml", "", "Mend the lines named and try again; nothing was changed."),
    "not-found": ("There is no drill 'thre'.", "chain, mixed, one", "Name one of these."),
    "refused": (
        "The field is closed.",
        "an open day",
        "Open it: fieldctl field open, or the page of the day; then ask again.",
    ),
    "in-use": (
        "Another fieldctl (process 4711) serves this site already.",
        "one controller a site",
        "Use that one, or stop it first.",
    ),
    "unreachable": ("5ee00003 is not heard.", "", "Go by its place, and look at its link."),
    "timeout": ("The target 5ee00003 did not answer within 5 s.", "an answer", "Look at its link, and try again."),
    "link-down": (
        "The link bus was lost.",
        "an adapter that stays",
        "It is opened again by itself: look at its cable.",
    ),
    "ledger-failed": ("1000 facts wait for the ledger", "", "Look at the disk: it does not keep up."),
    "ledger-broken": (
        "A StrikeRecorded in the ledger cannot be read: 7.",
        "a JSON object",
        "Run `fieldctl ledger verify`: it names the entry; then restore the last good copy.",
    ),
    "backup-broken": (
        "The backup is cut off after 65536 bytes: its end is missing.",
        "a whole file",
        "Take another copy; nothing was restored.",
    ),
    "failed": (
        "A fault of fieldctl itself: KeyError: 'A'.",
        "",
        "Try again; if it comes back, keep the ledger and report this line.",
    ),
    "not-signed-in": (
        "exercise-start needs the right 'instruct', and nobody is signed in.",
        "somebody with the right 'instruct'",
        "Sign in, or pair this phone with the code that a person in charge shows.",
    ),
    "right-missing": (
        "exercise-start needs the right 'instruct', which Jon does not have.",
        "somebody with the right 'instruct'",
        "Ask a person in charge to grant it, for today or for longer.",
    ),
    "wrong-secret": (
        "Name and password do not belong together.",
        "a person of this field who has a password",
        "Look at both and try again; or let somebody in charge pair this phone.",
    ),
    "too-soon": (
        "Too many tries were wrong.",
        "a pause of 8 s",
        "Wait that long. A phone that is paired goes on working, and all off needs no login.",
    ),
    "key-missing": (
        "There is no Idempotency-Key.",
        "8 to 64 letters, digits or . _ ~ : -",
        "Make a new one for each press, and send the same one again where no answer came.",
    ),
    "key-reused": (
        "This Idempotency-Key named another request before.",
        "a new key for each press",
        "Send this request with a key of its own.",
    ),
    "busy": (
        "Too many people sign in at this moment.",
        "",
        "Try again in some seconds. A paired phone goes on working, and so does all off.",
    ),
    "method": ("This address does not take that method.", "GET, POST", "Use one of these."),
    "late": (
        "The field's computer began anew after this was pressed, so it was not carried out.",
        "",
        "Look at what the screen shows now, and press again.",
    ),
    "too-long": ("The body is too long.", "at most 65536 bytes", "Ask for less at once."),
    "not-json": ("A request that changes something is JSON.", "Content-Type: application/json", "Send it so."),
    "foreign-page": (
        "This request comes from a page that is not of this field.",
        "",
        "Open the field's own page.",
    ),
    "header-missing": ("The header X-Fieldctl is missing.", "X-Fieldctl: 1", "Send it with this header."),
    "other-host": (
        "This field does not answer to the host name 'elsewhere.example'.",
        "",
        "Use the address that fieldctl serve printed, or add the name to [pages] names in site.toml.",
    ),
}
"""By code: what was wrong, what was expected, the remedy."""

FAULTS: dict[str, Row] = {
    "bad-input": {
        "file": problems.REQUEST,
        "line": 0,
        "key": "ago_s",
        "wrong": "Input should be greater than or equal to 0",
        "expected": "How long ago, in seconds.",
        "remedy": "Mend it.",
    },
    "file-faults": {
        "file": "drills/two.toml",
        "line": 7,
        "key": "burial.A.depth_m",
        "wrong": "-1 is too little",
        "expected": "0.2 to 3.0",
        "remedy": "Give a depth in metres.",
    },
}

ANSWERS: dict[str, Row] = {
    api_answers.Alive.__name__: {
        "status": "alive",
        "version": __version__,
        "uptime_s": 3601.5,
        "loop_lag_ms": None,
        "counts": {"asked": 412},
    },
    api_answers.Ready.__name__: {"ready": True, "why": ""},
    api_answers.Meaning.__name__: {
        "type": f"{problems.TYPES}refused",
        "title": problems.KINDS["refused"].title,
        "status": problems.KINDS["refused"].status,
        "means": problems.KINDS["refused"].means,
    },
    Entered.__name__: {"person": "p-3f9a", "name": "Ansel", "rights": ["watch", "instruct"]},
    SignedOut.__name__: {"signed_out": True},
}
"""By the shape's name: an answer that somebody may get."""

METRICS = f'# TYPE fieldctl_build_info gauge\nfieldctl_build_info{{version="{__version__}"}} 1.0\n'
QR = '<svg xmlns="http://www.w3.org/2000/svg" width="264" height="264"><path d="M0 0h264v264h-264z"/></svg>'
STREAM = (
    "event: beat\r\nid: 812\r\n"
    'data: {"host_us": 91000000, "cursor": 812, "ages": {"5ee00001": 0.4}, "rights": ["watch"]}\r\n\r\n'
)


def problem(code: str) -> Row:
    """The body of a problem of one kind."""
    detail, expected, remedy = PROBLEMS[code]
    kind = problems.KINDS[code]
    return {
        "type": problems.TYPES + code,
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "code": code,
        "expected": expected,
        "remedy": remedy,
        "faults": [FAULTS[code]] if code in FAULTS else [],
        "instance": "/api/v1/exercise-start",
    }
