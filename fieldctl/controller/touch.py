"""Plates proved by touch before the field opens: pads are armed for a while, and what was struck since is kept.

A strike counts when it was taken for a probe, or for nothing in particular; steps and vehicles prove a pad too, but not
that somebody stood there and meant it. A post is proved by a short press of its button.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldctl.events import DayOpened, Fact, PostPressed, StrikeRecorded, TouchAsked
from fieldctl.units import HostTime, TargetId

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

COUNTS = ("probe", "unsure")


class Touch:
    """Which plates were touched since somebody asked for it."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self.asked: TouchAsked | None = None
        self.since: HostTime | None = None  # strikes from this moment on count
        self.touched: dict[TargetId, str] = {}  # and what it was taken for, "button" for a post

    def take(self, fact: Fact) -> None:
        """Fold one fact."""
        match fact:
            case TouchAsked():
                goes_on = (
                    self.asked is not None and self.asked.until.boot == fact.at.boot and fact.at <= self.asked.until
                )
                if not goes_on:
                    self.since, self.touched = fact.at, {}
                self.asked = fact
            case DayOpened():
                self.asked, self.since, self.touched = None, None, {}
            case StrikeRecorded() if fact.taken_for in COUNTS and self._since_asked(fact.at.at):
                self.touched[fact.target] = fact.taken_for
            case PostPressed() if fact.did != "all-off" and self._since_asked(fact.at):
                self.touched[fact.post] = "button"

    def _since_asked(self, at: HostTime) -> bool:
        return self.since is not None and at.boot == self.since.boot and at >= self.since

    def arms(self, now_us: int) -> bool:
        """Whether every pad listens now."""
        asked = self.asked
        return asked is not None and asked.until.boot == self._c.outside.clock.boot and now_us < asked.until.us
