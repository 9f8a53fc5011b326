"""Where a burial stands in an exercise and what moves it: the table that the engine follows, and nothing else."""

from __future__ import annotations

from typing import Literal

Phase = Literal["waiting", "silent", "ordered", "sending", "gone", "found", "found-quiet", "over"]
Happening = Literal["due", "began", "not-begun", "went", "found", "unfound", "over", "again", "taken-back"]
Act = Literal["", "send", "quiet", "ask"]

PHASES: dict[Phase, str] = {
    "waiting": "its moment to send has not come",
    "silent": "a no-signal burial, not found yet",
    "ordered": "a grant is on its way",
    "sending": "its target says that it sends",
    "gone": "its signal is away, and a person has to say whether it may send again",
    "found": "found, and it keeps sending",
    "found-quiet": "found, and quiet",
    "over": "the exercise is over or interrupted",
}

TABLE: dict[tuple[Phase, Happening], tuple[Phase, Act]] = {
    ("waiting", "due"): ("ordered", "send"),
    ("waiting", "found"): ("found-quiet", ""),
    ("silent", "found"): ("found-quiet", ""),
    ("ordered", "began"): ("sending", ""),
    ("ordered", "not-begun"): ("ordered", "send"),  # late or lost on its way: a new moment, the same person's start
    ("ordered", "went"): ("gone", "ask"),
    ("ordered", "found"): ("found", ""),
    ("ordered", "taken-back"): ("waiting", "quiet"),
    ("sending", "went"): ("gone", "ask"),  # what is off stays off: a rebooted target never sends by itself again
    ("sending", "found"): ("found", ""),
    ("sending", "taken-back"): ("waiting", "quiet"),
    ("gone", "again"): ("ordered", "send"),
    ("gone", "found"): ("found-quiet", ""),
    ("gone", "taken-back"): ("waiting", "quiet"),
    ("found", "began"): ("found", ""),
    ("found", "went"): ("found-quiet", ""),
    ("found", "not-begun"): ("found-quiet", ""),
    ("found", "unfound"): ("sending", ""),
    ("found-quiet", "unfound"): ("ordered", "send"),  # a voided find: its burial sends again at once
    ("over", "again"): ("ordered", "send"),
    **{
        (phase, "over"): ("over", "quiet")
        for phase in ("waiting", "silent", "ordered", "sending", "gone", "found", "found-quiet")
    },
}
"""(phase, what happens) -> (next phase, what the field does); whatever is not listed changes nothing."""


def table_as_text() -> str:
    """The table as Markdown, for DEVELOPERS.md (a test keeps the printed copy true)."""
    lines = ["| phase | what happens | next phase | the field |", "|---|---|---|---|"]
    words = {"": "-", "send": "sends under a new grant", "quiet": "falls quiet", "ask": "asks a person"}
    lines += [f"| {phase} | {what} | {then} | {words[act]} |" for (phase, what), (then, act) in TABLE.items()]
    return "\n".join(lines)
