"""What is not ledger: names that can be forgotten, measurements that are thinned."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldctl.events import TargetNamed
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.standing import Standing
from fieldctl.ledger.store import TELEMETRY_MAX, Ledger
from fieldctl.ledger.telemetry import DAY_US, HOURS_KEPT_DAYS, MINUTE_US, MINUTES_KEPT_DAYS, Telemetry
from fieldctl.ledger.verify import verify
from fieldctl.units import HostTime, PersonId, TargetId

ONE, TWO = TargetId("0a1b2c3d"), TargetId("0a1b2c3e")
P = PersonId("p-1")
HOUR_US = 60 * MINUTE_US


def at(us: int, boot: str = "b-2") -> HostTime:
    return HostTime(boot, us)


@pytest.mark.parametrize("inline", [True, False])
def test_a_forgotten_name_is_in_no_file_and_the_chain_holds(tmp_path: Path, inline: bool) -> None:
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=inline) as ledger:
        ledger.append([TargetNamed(ONE, "upper", P)], at=at(1))
        ledger.name_person(P, "Ansel-of-the-fixture")
        ledger.name_person(P, "Tove-of-the-fixture")
        ledger.name_person(PersonId("p-2"), "Jon")
        assert ledger.names() == {P: "Tove-of-the-fixture", "p-2": "Jon"}
        assert any(b"Tove-of-the-fixture" in each.read_bytes() for each in tmp_path.iterdir())
        assert ledger.forget_person(P)
        assert not ledger.forget_person(P)
        assert ledger.names() == {"p-2": "Jon"}
        assert not [each for each in tmp_path.iterdir() if b"of-the-fixture" in each.read_bytes()]
        assert list(ledger.facts()) == [TargetNamed(ONE, "upper", P)]
        assert verify(ledger).ok


def test_one_row_a_minute_each_column_with_its_latest_value() -> None:
    with Ledger.open(":memory:", inline=True) as ledger:
        ledger.put_telemetry([Telemetry(ONE, at(1), "w1", volts_rest=3.6, temperature_c=-4.0, extra={"rssi": -60})])
        ledger.put_telemetry([Telemetry(ONE, at(2), volts_rest=3.5, extra={"lost": 1})])
        assert ledger.telemetry() == []
        ledger.flush_telemetry()
        ledger.put_telemetry([Telemetry(ONE, at(3), "w3", volts_load=3.2), Telemetry(TWO, at(3), noise=0.5)])
        ledger.flush_telemetry()
        ledger.flush_telemetry()
        assert ledger.telemetry(ONE) == [Telemetry(ONE, at(3), "w3", 3.5, 3.2, -4.0, None, {"rssi": -60, "lost": 1})]
        assert len(ledger.telemetry()) == 2
        assert list(ledger.entries()) == []


def test_samples_are_written_after_a_minute_when_many_or_at_closing(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=True) as ledger:
        ledger.put_telemetry([Telemetry(ONE, at(n * 1_000_000)) for n in range(61)])
        assert len(ledger.telemetry()) == 2
        ledger.put_telemetry([Telemetry(TargetId(f"{n + 1:08x}"), at(0)) for n in range(TELEMETRY_MAX)])
        assert len(ledger.telemetry()) == 2 + TELEMETRY_MAX
        ledger.put_telemetry([Telemetry(TWO, at(5 * MINUTE_US))])
    with Ledger.open(path, inline=True) as ledger:
        assert len(ledger.telemetry(TWO)) == 1


def test_thinned_to_one_an_hour_after_a_week_and_to_none_after_two_winters() -> None:
    now = at(1_000 * DAY_US)
    with Ledger.open(":memory:", inline=True) as ledger:
        for start, minutes in ((now.us - 3 * HOUR_US, 120), (now.us - (MINUTES_KEPT_DAYS * DAY_US) - 5 * HOUR_US, 240)):
            ledger.put_telemetry([Telemetry(ONE, at(start + n * MINUTE_US), volts_rest=3.0) for n in range(minutes)])
        ledger.put_telemetry([Telemetry(ONE, at(now.us - (HOURS_KEPT_DAYS + 1) * DAY_US))])
        ledger.flush_telemetry()
        assert len(ledger.telemetry()) == 361
        assert ledger.thin_telemetry(now) == 237
        left = [row.at.us for row in ledger.telemetry()]
        assert len(left) == 124
        assert [us for us in left if us < now.us - DAY_US] == [
            now.us - MINUTES_KEPT_DAYS * DAY_US - hours * HOUR_US for hours in (5, 4, 3, 2)
        ]
        assert ledger.thin_telemetry(now) == 0
        assert ledger.counts["telemetry thinned"] == 237


def test_rows_of_an_earlier_boot_are_thinned_once_they_are_surely_old() -> None:
    def rows(wall: str | None) -> list[Telemetry]:
        return [Telemetry(ONE, at(n * MINUTE_US, "b-1"), wall, extra={"n": n}) for n in range(30)]

    with Ledger.open(":memory:", inline=True) as ledger:
        ledger.put_telemetry(rows(None))
        assert ledger.thin_telemetry(at(HOUR_US), "2030-02-01T10:00:00Z") == 0
        assert ledger.thin_telemetry(at((MINUTES_KEPT_DAYS + 1) * DAY_US)) == 29
    with Ledger.open(":memory:", inline=True) as ledger:
        ledger.put_telemetry(rows("2030-01-26T10:00:00Z"))
        assert ledger.thin_telemetry(at(HOUR_US), None) == 0
        assert ledger.thin_telemetry(at(HOUR_US), "2030-02-01T10:00:00Z") == 0
        assert ledger.thin_telemetry(at(HOUR_US), "2030-02-03T10:00:00Z") == 29


def test_states_are_kept_over_a_restart_one_row_each(tmp_path: Path) -> None:
    first, later = HostTime("b-1", 5), HostTime("b-1", 9)
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=True) as ledger:
        ledger.put_states([Standing(ONE, "online", first, "2031-01-18T08:00:00Z"), Standing(ONE, "weak", first)], [])
        for _ in range(50):  # flapping
            ledger.put_states([Standing(ONE, "overdue", later)], [(ONE, "online")])
            ledger.put_states([Standing(ONE, "online", later)], [(ONE, "overdue")])
    with Reader.read(path) as reader:
        assert reader.states() == [Standing(ONE, "online", later), Standing(ONE, "weak", first)]
