"""Alarms and the webhook as the API's document names them."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from fieldctl.web.api_shapes import Answer


class AlarmRow(Answer):
    """One alarm in force: about a target or, where there is none, a link."""

    target: str | None
    link: str
    name: str
    what: str
    says: str
    remedy: str
    fault: bool = Field(description="Whether the target itself is sick.")
    values: dict[str, Any] = Field(description="Those of its sentence.")
    since: str | None = Field(description="The wall clock's label.")
    since_us: int | None = Field(description="By the host's clock, where it began in this boot of the host.")


class Webhook(Answer):
    """How the webhook fares; the host alone of its address."""

    on: bool
    host: str
    delivered: int
    last_delivered: str | None
    failing: bool
    failing_since: str | None
    why: str
    waiting: int
    failed: int = Field(description="Attempts.")
    dropped: int


class Alarms(Answer):
    """What is in force, what matters most first, and how the webhook fares."""

    alarms: list[AlarmRow]
    webhook: Webhook


class AlarmTested(Answer):
    """Whether a test alert was delivered, or waits to be."""

    test: Literal["delivered", "waiting"]
    webhook: Webhook
