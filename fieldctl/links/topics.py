"""The topics that fieldctl uses on a broker, and nothing else: who writes what.

    fieldctl/v1/{site}/t/{target}/down    controller -> target (or the bridge that stands before it)
    fieldctl/v1/{site}/t/{target}/up      target or bridge -> controller
    fieldctl/v1/{site}/all/down           controller -> everybody: all off
    fieldctl/v1/{site}/status             retained: "online", or by last will "offline"

The `status` of the controller is the only thing ever retained. Sites are named by a short word here,
not by what people call them.
"""

from __future__ import annotations

import re

from fieldctl.errors import BadInput
from fieldctl.units import TargetId, target_id

ROOT = "fieldctl/v1"
ONLINE = b"online"
OFFLINE = b"offline"

_SITE = re.compile(r"[a-z0-9][a-z0-9_-]{0,31}\Z")


def site_word(word: str) -> str:
    """The site's word as topics carry it; BadInput says what was expected (`+`, `#` and `/` would steer elsewhere)."""
    if not _SITE.match(word):
        raise BadInput(
            f"The site's short name {word!r} cannot be part of an MQTT topic.",
            expected="1 to 32 small letters, digits, - and _, beginning with a letter or digit",
            remedy="Change the short name in site.toml.",
        )
    return word


def down(site: str, target: TargetId | None) -> str:
    """Where the controller writes for `target`, or with None for everybody."""
    return f"{ROOT}/{site}/all/down" if target is None else f"{ROOT}/{site}/t/{target}/down"


def up(site: str, target: TargetId) -> str:
    """Where `target`, or the bridge before it, writes."""
    return f"{ROOT}/{site}/t/{target}/up"


def every_up(site: str) -> str:
    """The filter for what all targets of the site write."""
    return f"{ROOT}/{site}/t/+/up"


def status(site: str) -> str:
    """Where the controller says whether it is there."""
    return f"{ROOT}/{site}/status"


def target_of(site: str, topic: str, direction: str) -> TargetId | None:
    """The target that `topic` names; None for everybody; ValueError for a topic that is none of ours."""
    before, _, rest = topic.partition(f"{ROOT}/{site}/")
    if before == "":
        if rest == "all/down" and direction == "down":
            return None
        match rest.split("/"):
            case ["t", word, last] if last == direction and target_id(word) == word:
                return TargetId(word)
    raise ValueError(f"{topic!r} is no {direction} topic of site {site}")
