"""A certificate as text, as one page of HTML to print and sign, and as JSON."""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import Any

from fieldctl import __version__
from fieldctl.certify.run import Certificate, Row
from fieldctl.units import US_PER_S
from fieldctl.wire import messages
from fieldctl.wire.messages import Ability

SCHEMA = 1
ROOM = 800  # letters that one printed page has for more than the requirements' words; all these by printing pages
ROOM_FINE = 3600  # the same in the finer print that a page has on which much is to be said
ROW_COST = 30  # letters that a row takes beside its own
LEAST = 24  # of what was seen, where nearly everything failed
CUT = " …"  # text and JSON have it whole
SIGNS = ("tried by", "place", "date", "signature")
CAUTION = "A training aid, not rescue equipment. Any signal is a person until proved otherwise."


def as_json(certificate: Certificate, at: str | None) -> dict[str, Any]:
    """One object with stable keys; `at` is the wall clock's label, where there is one."""
    said = certificate.greeting
    return {
        "certificate": SCHEMA,
        "program": __version__,
        "at": at,
        "target": certificate.target,
        "hardware": said.hardware.hex(),
        "firmware": said.firmware,
        "contract": said.contract,
        "abilities": abilities(said.abilities),
        "medium": certificate.medium,
        "side_door": list(certificate.door),
        "result": result(certificate),
        "passed": certificate.count("passed"),
        "failed": certificate.count("failed"),
        "not_applicable": certificate.count("not applicable"),
        "not_tried": certificate.count("not tried"),
        "not_asked_for": len(certificate.not_asked),
        "left_quiet": certificate.quiet,
        "left_keyless": certificate.keyless,
        "stopped": certificate.stopped,
        "generation": [certificate.generation_before, certificate.generation],
        "epoch": [certificate.epoch_before, certificate.epoch],
        "requirements": [
            {
                "number": row.number,
                "id": row.requirement.id,
                "words": row.requirement.words,
                "verdict": row.verdict,
                "seen": row.seen,
                "took_s": round(row.took_us / US_PER_S, 3),
            }
            for row in certificate.rows
        ],
    }


def result(certificate: Certificate) -> str:
    """One word for all: failed, in part, or passed; what nobody asked for is not passed."""
    if certificate.count("failed") or not certificate.quiet:
        return "failed"
    in_part = certificate.count("not tried") or certificate.not_asked or certificate.stopped
    return "in part" if in_part else "passed"


def abilities(flags: int) -> list[str]:
    """Abilities in words."""
    return [str(a.name).lower().replace("_", " ") for a in Ability if a & flags]


def head(certificate: Certificate, at: str | None) -> list[tuple[str, str]]:
    """Who was tried, with what and how it came out."""
    said = certificate.greeting
    counts = ", ".join(
        f"{certificate.count(verdict)} {verdict}" for verdict in ("passed", "failed", "not applicable", "not tried")
    )
    if certificate.not_asked:
        counts += f", {len(certificate.not_asked)} not asked for"
    rows = [
        ("target", f"{certificate.target}, hardware {said.hardware.hex()}"),
        ("firmware", f"{said.firmware}; contract {said.contract} of {messages.CONTRACT}"),
        ("abilities", ", ".join(abilities(said.abilities)) or "none"),
        ("tried", f"{at or 'the clock is not set'}, fieldctl {__version__}, {_over(certificate)}"),
        ("result", f"{result(certificate).upper()}: {counts}"),
        ("left", _left(certificate)),
    ]
    return rows + ([("broken off", certificate.stopped)] if certificate.stopped else [])


def _over(certificate: Certificate) -> str:
    door = ", ".join(w for w in certificate.door if w != "many")
    return f"{'on a bus' if certificate.medium == 'bus' else 'over radio'}; side door: {door or 'none'}"


def _left(certificate: Certificate) -> str:
    if not certificate.quiet:
        return "NOT CONFIRMED QUIET: take its power off, and listen with a receiver"
    if certificate.keyless:
        return "quiet, gate read back off; the keys of this bench are forgotten: nothing can make it send"
    changes = [f"all off latched, epoch {certificate.epoch}"]
    if certificate.epoch != certificate.epoch_before:
        changes.append(f"it was {certificate.epoch_before}: a controller takes a later epoch over when it hears it")
    if certificate.generation != certificate.generation_before:
        changes.append(f"generation {certificate.generation}, was {certificate.generation_before}")
    return "quiet, gate read back off; " + "; ".join(changes)


def left_open(certificate: Certificate) -> list[str]:
    """What was not tried and why, equal reasons in one line, and what nobody asked for; by number."""
    reasons: dict[str, list[int]] = {}
    for row in certificate.rows:
        if row.verdict == "not tried":
            reasons.setdefault(row.seen, []).append(row.number)
    lines = [f"not tried, {why}: {numbers(which)}" for why, which in reasons.items()]
    return lines + ([f"not asked for: {numbers(certificate.not_asked)}"] if certificate.not_asked else [])


def numbers(rising: Sequence[int]) -> str:
    """Rising numbers in few words: 1-3, 7."""
    runs: list[list[int]] = []
    for number in rising:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(str(first) if first == last else f"{first}-{last}" for first, last in runs)


def as_lines(certificate: Certificate, at: str | None) -> list[str]:
    """One page of text: a line for each requirement, what was seen below those that failed, what is open at the end."""
    width = max(len(name) for name, _ in head(certificate, at))
    lines = ["Certificate of a target", ""]
    lines += [f"{name:<{width}}  {value}" for name, value in head(certificate, at)]
    lines.append("")
    for row in certificate.rows:
        lines.append(f"{row.number:3}  {_mark(row):<14}  {row.requirement.words}")
        if row.verdict == "failed":
            lines.append(f"{'':21}{row.requirement.id}: {row.seen}")
    open_ = left_open(certificate)
    lines += ["", *open_] if open_ else []
    lines += ["", *(f"{sign:<12}{'_' * 40}" for sign in SIGNS), "", CAUTION]
    return lines


def _mark(row: Row) -> str:
    return row.verdict.upper() if row.verdict == "failed" else row.verdict


_STYLE = """
@page { size: A4; margin: 10mm }
body { font: 8.4pt/1.25 sans-serif; color: #000; background: #fff; max-width: 190mm; margin: 0 auto }
h1 { font-size: 13pt; margin: 0 0 2mm }
dl { display: grid; grid-template-columns: max-content 1fr; gap: 0 3mm; margin: 0 0 2mm; font-size: 8.4pt }
dt { font-weight: bold } dd { margin: 0 }
ol { columns: 2; column-gap: 6mm; margin: 0; padding: 0 } li { list-style: none }
li { break-inside: avoid; padding: .25mm 0; border-bottom: .2mm solid #999 }
li b { display: inline-block; min-width: 5mm; text-align: right; margin-right: 1mm }
.failed { font-weight: bold; border: .5mm solid #000; padding: .5mm }
.seen { display: block; padding-left: 6mm; font-style: italic }
.sign { display: grid; grid-template-columns: repeat(4, 1fr); gap: 4mm; margin-top: 9mm }
.open { columns: 2; column-gap: 6mm; margin: 1mm 0; padding: 0 }
@media print {
  body { font-size: 6.3pt; line-height: 1.12 } .much { font-size: 5.6pt } dl { font-size: 7.5pt }
  .sign { margin-top: 7mm } .failed { border-width: 0 0 .2mm 1mm; padding: 0 0 0 1mm }
  .seen { display: inline; padding: 0 1mm; font-weight: normal }
}
.sign div { border-top: .3mm solid #000 }
""".strip()


def as_html(certificate: Certificate, at: str | None) -> str:
    """The same as one page of HTML, which fetches nothing and prints without colours.

    Where much failed, what was seen is shortened so that it stays one page; text and JSON have it whole.
    """
    facts = "".join(f"<dt>{_text(name)}</dt><dd>{_text(value)}</dd>" for name, value in head(certificate, at))
    open_ = left_open(certificate)
    failed = [row.seen for row in certificate.rows if row.verdict == "failed"]
    told = sum(map(len, open_)) + ROW_COST * (len(open_) + len(failed))
    much = ' class="much"' if told + sum(map(len, failed)) > ROOM else ""
    each = max(LEAST, (ROOM_FINE - told) // max(1, len(failed)))
    rows = "\n".join(_row(row, each) for row in certificate.rows)
    still = f'<ul class="open">{"".join(f"<li>{_text(line)}</li>" for line in open_)}</ul>\n' if open_ else ""
    signs = "".join(f"<div>{sign}</div>" for sign in SIGNS)
    return (
        '<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8">\n'
        f"<title>Certificate of target {_text(certificate.target)}</title>\n<style>\n{_STYLE}\n</style></head>\n"
        f"<body{much}>\n<h1>Certificate of a target</h1>\n<dl>{facts}</dl>\n<ol>\n{rows}\n</ol>\n{still}"
        f'<div class="sign">{signs}</div>\n<p>{_text(CAUTION)}</p>\n</body>\n</html>\n'
    )


def _row(row: Row, room: int) -> str:
    said = row.seen if len(row.seen) <= room else row.seen[: room - len(CUT)] + CUT
    seen = f'<span class="seen">{_text(said)}</span>' if row.verdict == "failed" else ""
    kind = ' class="failed"' if row.verdict == "failed" else ""
    return f"<li{kind}><b>{row.number}</b> {_text(row.requirement.words)} <em>{_mark(row)}</em>{seen}</li>"


def _text(value: str) -> str:
    return html.escape(value, quote=True)
