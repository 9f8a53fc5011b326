"""What the program says of itself at the first start (design, section 10)."""

from __future__ import annotations

CAUTIONS = (
    "A training aid, not rescue equipment. Any signal is a person until proved otherwise.",
    "The site's hazard assessment and the patrol's rules come first. Everybody carries an own transceiver, in search",
    "during the exercise and back to send after it. In a real alarm: all off and rescue, at the same time.",
    "Keep phones and radios away from searching transceivers. Transmitters must meet the country's radio rules",
    "(EN 300 718-1 and its kin); installation, earthing and surge protection by people competent to do so.",
    "No digging or probing near marked cables. Where local codes or licensed practice say otherwise, they win.",
    "Survival figures are published statistics of past accidents, not a promise.",
)
