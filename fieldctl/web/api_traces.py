"""The shape of a raw trace in the API's document."""

from __future__ import annotations

from pydantic import Field

from fieldctl.web.api_shapes import Answer


class Traced(Answer):
    """The raw trace of a strike: steps of the pad's converter about its baseline, none where a part is missing."""

    target: str
    name: str
    boot: int
    number: int
    whole: bool
    missing: list[int] = Field(description="Parts that were not heard; asked again it goes on with them.")
    parts: int
    why: str = Field(description="Why the reading stopped, where it did.")
    every_us: int = Field(description="From one sample to the next.")
    before: int = Field(description="So many samples lie before the one that began the strike.")
    begins: int = Field(description="What that one had to exceed, in steps.")
    scale: int = Field(description="Each was rounded down to a multiple of 2^scale.")
    samples: list[int | None]
