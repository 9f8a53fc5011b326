"""Where a burial stands in an exercise and what moves it: the table that the engine follows, and nothing else."""

from __future__ import annotations

from typing import Literal

Phase = Literal[
    "waiting", "silent", "ordered", "sending", "gone", "found-early", "found", "found-quiet", "over"
]  # fmt: skip
Happening = Literal[
    "due", "began", "not-begun", "went", "found", "found-for-good", "unfound", "unfound-unsent", "unfound-silent",
    "over", "again", "back-waiting", "back-silent", "back-quiet", "taken-back",
]  # fmt: skip
Act = Literal["", "send", "quiet", "ask"]

PHASES: dict[Phase, str] = {
    "waiting": "its moment to send has not come",
    "silent": "a no-signal burial, not found yet",
    "ordered": "a grant is on its way",
    "sending": "its target says that it sends",
    "gone": "its signal is away, and a person has to say whether it may send again",
    "found-early": "found while its grant was on the way",
    "found": "found, and it keeps sending",
    "found-quiet": "found, and quiet",
    "over": "the exercise is over or interrupted",
}

HAPPENINGS: dict[Happening, str] = {
    "due": "its moment was fixed",
    "began": "its target said that it sends",
    "not-begun": "the order came late or was lost on its way",
    "went": "its grant is over, and nobody here ended it",
    "found": "a find, and the drill lets it send on",
    "found-for-good": "a find, and the drill lets it fall quiet",
    "unfound": "its find was voided",
    "unfound-unsent": "its find was voided, and its moment had not come",
    "unfound-silent": "its find was voided, and it never sends",
    "over": "the exercise ended or was interrupted",
    "again": "a person lets it send again",
    "back-waiting": "a person lets the exercise go on, and its moment had not come",
    "back-silent": "a person lets the exercise go on, and it never sends",
    "back-quiet": "a person lets the exercise go on, and the drill had let it fall quiet",
    "taken-back": "a person takes back that it was switched on",
}

TABLE: dict[tuple[Phase, Happening], tuple[Phase, Act]] = {
    ("waiting", "due"): ("ordered", "send"),
    ("waiting", "found"): ("found-quiet", ""),
    ("waiting", "found-for-good"): ("found-quiet", ""),
    ("silent", "found"): ("found-quiet", ""),
    ("silent", "found-for-good"): ("found-quiet", ""),
    ("ordered", "began"): ("sending", ""),
    ("ordered", "not-begun"): ("ordered", "send"),  # late or lost on its way: a new moment, the same person's start
    ("ordered", "went"): ("gone", "ask"),
    ("ordered", "found"): ("found-early", ""),
    ("ordered", "found-for-good"): ("found-quiet", "quiet"),
    ("ordered", "taken-back"): ("waiting", "quiet"),
    ("sending", "not-begun"): ("gone", "ask"),  # it had begun all the same, so this is no order on its way any more
    ("sending", "went"): ("gone", "ask"),  # what is off stays off: a rebooted target never sends by itself again
    ("sending", "found"): ("found", ""),
    ("sending", "found-for-good"): ("found-quiet", "quiet"),
    ("sending", "taken-back"): ("waiting", "quiet"),
    ("gone", "again"): ("ordered", "send"),
    ("gone", "found"): ("found-quiet", ""),
    ("gone", "found-for-good"): ("found-quiet", ""),
    ("gone", "taken-back"): ("waiting", "quiet"),
    ("found-early", "began"): ("found", ""),
    ("found-early", "went"): ("found-quiet", ""),
    ("found-early", "not-begun"): ("found-quiet", ""),
    ("found-early", "unfound"): ("ordered", ""),
    ("found", "went"): ("found-quiet", ""),
    ("found", "not-begun"): ("found-quiet", ""),
    ("found", "unfound"): ("sending", ""),
    ("found-quiet", "unfound"): ("ordered", "send"),  # a voided find: its burial sends again at once
    ("found-quiet", "unfound-unsent"): ("waiting", ""),
    ("found-quiet", "unfound-silent"): ("silent", ""),
    ("over", "again"): ("ordered", "send"),
    ("over", "back-waiting"): ("waiting", ""),
    ("over", "back-silent"): ("silent", ""),
    ("over", "back-quiet"): ("found-quiet", ""),
    ("waiting", "over"): ("over", ""),
    ("silent", "over"): ("over", ""),
    ("ordered", "over"): ("over", "quiet"),
    ("sending", "over"): ("over", "quiet"),
    ("gone", "over"): ("over", "quiet"),
    ("found-early", "over"): ("over", "quiet"),
    ("found", "over"): ("over", "quiet"),
    ("found-quiet", "over"): ("over", "quiet"),
}
"""(phase, what happens) -> (next phase, what the field does); whatever is not listed changes nothing."""


def table_as_text() -> str:
    """The table as Markdown, for DEVELOPERS.md (a test keeps the printed copy true)."""
    lines = ["| phase | what happens | next phase | the field |", "|---|---|---|---|"]
    words = {"": "-", "send": "sends under a new grant", "quiet": "falls quiet", "ask": "asks a person"}
    lines += [f"| {phase} | {what} | {then} | {words[act]} |" for (phase, what), (then, act) in TABLE.items()]
    return "\n".join(lines)
