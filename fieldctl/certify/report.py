"""A certificate as text, as one page of HTML to print and sign, and as JSON."""

from __future__ import annotations

import html
from typing import Any

from fieldctl import __version__
from fieldctl.certify.run import Certificate, Row
from fieldctl.units import US_PER_S
from fieldctl.wire import messages
from fieldctl.wire.messages import Ability

SCHEMA = 1
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
    """One word for all: failed, in part, or passed."""
    if certificate.count("failed") or not certificate.quiet:
        return "failed"
    return "in part" if certificate.count("not tried") or certificate.stopped else "passed"


def abilities(flags: int) -> list[str]:
    """Abilities in words."""
    return [str(a.name).lower().replace("_", " ") for a in Ability if a & flags]


def head(certificate: Certificate, at: str | None) -> list[tuple[str, str]]:
    """Who was tried, with what and how it came out."""
    said = certificate.greeting
    counts = ", ".join(
        f"{certificate.count(verdict)} {verdict}" for verdict in ("passed", "failed", "not applicable", "not tried")
    )
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


def as_lines(certificate: Certificate, at: str | None) -> list[str]:
    """One page of text: a line for each requirement, what was seen below those that were not passed."""
    width = max(len(name) for name, _ in head(certificate, at))
    lines = ["Certificate of a target", ""]
    lines += [f"{name:<{width}}  {value}" for name, value in head(certificate, at)]
    lines.append("")
    for row in certificate.rows:
        lines.append(f"{row.number:3}  {_mark(row):<14}  {row.requirement.words}")
        if row.verdict in ("failed", "not tried"):
            lines.append(f"{'':21}{row.requirement.id}: {row.seen}")
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
ol { columns: 2; column-gap: 6mm; margin: 0; padding: 0; list-style: none }
li { break-inside: avoid; padding: .25mm 0; border-bottom: .2mm solid #999 }
li b { display: inline-block; min-width: 5mm; text-align: right; margin-right: 1mm }
.failed { font-weight: bold; border: .5mm solid #000; padding: .5mm }
.seen { display: block; padding-left: 6mm; font-style: italic }
.sign { display: grid; grid-template-columns: repeat(4, 1fr); gap: 4mm; margin-top: 9mm }
@media print { body { font-size: 6.3pt; line-height: 1.12 } dl { font-size: 7.5pt } .sign { margin-top: 7mm } }
.sign div { border-top: .3mm solid #000 }
""".strip()


def as_html(certificate: Certificate, at: str | None) -> str:
    """The same as one page of HTML, which fetches nothing and prints without colours."""
    facts = "".join(f"<dt>{_text(name)}</dt><dd>{_text(value)}</dd>" for name, value in head(certificate, at))
    rows = "\n".join(_row(row) for row in certificate.rows)
    signs = "".join(f"<div>{sign}</div>" for sign in SIGNS)
    return (
        '<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8">\n'
        f"<title>Certificate of target {_text(certificate.target)}</title>\n<style>\n{_STYLE}\n</style></head>\n"
        f"<body>\n<h1>Certificate of a target</h1>\n<dl>{facts}</dl>\n<ol>\n{rows}\n</ol>\n"
        f'<div class="sign">{signs}</div>\n<p>{_text(CAUTION)}</p>\n</body>\n</html>\n'
    )


def _row(row: Row) -> str:
    seen = f'<span class="seen">{_text(row.seen)}</span>' if row.verdict in ("failed", "not tried") else ""
    kind = ' class="failed"' if row.verdict == "failed" else ""
    return f"<li{kind}><b>{row.number}</b> {_text(row.requirement.words)} <em>{_mark(row)}</em>{seen}</li>"


def _text(value: str) -> str:
    return html.escape(value, quote=True)
