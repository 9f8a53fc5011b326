"""An invented cell: enough of a battery that volts fall with cold, load and use, and charge can be counted.

Two lithium AA cells in series, all figures invented: open-circuit volts fall slowly and then steeply, the inner
resistance rises with cold and with what was taken out.
"""

from __future__ import annotations

CAPACITY_MAS = 3_000 * 3_600  # 3 000 mAh
AWAKE_MA = 3.0
SENDING_MA = 12.0  # the mean over the pulses, on top
LOAD_MA = 120.0  # in the test load of a report
FRESH_MV = 3_560.0
EMPTY_MV = 2_000.0
WEAK_MV = 2_200  # under load: below it a target refuses to send
LOW_MV = 2_600  # under load: it says so


class Cell:
    """A cell at one temperature; charge is counted in mA·s."""

    __slots__ = ("_taken_mas", "celsius")

    def __init__(self, *, share_left: float = 1.0, celsius: float = -12.0) -> None:
        self._taken_mas = CAPACITY_MAS * (1.0 - share_left)
        self.celsius = celsius

    def use(self, awake_us: int, sending_us: int) -> None:
        """Take out what being awake and sending costs."""
        self._taken_mas += (AWAKE_MA * awake_us + SENDING_MA * sending_us) / 1e6

    @property
    def charge_mas(self) -> int:
        """Charge taken out so far."""
        return int(self._taken_mas)

    @property
    def rest_mv(self) -> int:
        """Open-circuit millivolts."""
        used = min(1.0, self._taken_mas / CAPACITY_MAS)
        return int(FRESH_MV - 300.0 * used - (FRESH_MV - 300.0 - EMPTY_MV) * used**8)

    @property
    def load_mv(self) -> int:
        """Millivolts under the test load."""
        used = min(1.0, self._taken_mas / CAPACITY_MAS)
        ohm = 0.6 * (1.0 + max(0.0, 20.0 - self.celsius) / 15.0) * (1.0 + 2.0 * used**4)
        return max(0, int(self.rest_mv - LOAD_MA * ohm))

    @property
    def kelvin10(self) -> int:
        """Temperature in tenths of a kelvin."""
        return round((self.celsius + 273.15) * 10)
