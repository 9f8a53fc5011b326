"""Pads, links and housings together: what is wrong beside batteries, as findings of the account."""

from __future__ import annotations

from collections.abc import Sequence

from fieldctl.units import TargetId
from fieldctl.upkeep.account import Finding
from fieldctl.upkeep.housings import housing_findings
from fieldctl.upkeep.links import link_findings
from fieldctl.upkeep.pads import pad_findings
from fieldctl.upkeep.past import Past
from fieldctl.upkeep.series import Season, season_of


def health_findings(pasts: Sequence[Past], today: float) -> dict[TargetId, tuple[Finding, ...]]:
    """Of each target what is wrong with pad, link and housing as of today (a day number)."""
    return findings_of(pasts, season_of(pasts, today), today) if pasts else {}


def findings_of(pasts: Sequence[Past], season: Season, today: float) -> dict[TargetId, tuple[Finding, ...]]:
    """The same from a season that was made before, and goes no further than today."""
    parts = (pad_findings(pasts, season, today), link_findings(pasts, season, today), housing_findings(pasts, season))
    return {past.target: tuple(f for part in parts for f in part[n]) for n, past in enumerate(pasts)}
