"""What a strike on a pad is taken for, and why.

features.py   what a target measures of a strike and reports in a few whole numbers
table.py      the rules, in order, each with a stable name and its reason in words

Pure: a stored strike judged again by the same table gives the same answer.
"""

from fieldctl.strikes.features import StrikeFeatures
from fieldctl.strikes.table import RULES, Kind, RecentStrike, Rule, Taken, take_for, take_for_ints

__all__ = [
    "RULES",
    "Kind",
    "RecentStrike",
    "Rule",
    "StrikeFeatures",
    "Taken",
    "take_for",
    "take_for_ints",
]
