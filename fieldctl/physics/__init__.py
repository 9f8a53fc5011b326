"""What nature does to a signal, a searcher and a shovel: numpy, vectorised, without state.

    dipole          field of a 457 kHz transmitter of any orientation, range by field
    flux            flux lines, in space and as a searcher follows them on the surface
    receiver        what one, two or three antennas show of that field; range by coupling; strip width
    reach           how far apart two exercises must be for their signals not to meet
    pulses          pulses of several transmitters on a time axis; overlap, how often and how long
    keying_plan     periods and on-times that keep pulses apart, let them fall, or make them clash
    chatter         how loud a bus is at 457 kHz for its bit rate
    probing         chance that holes hit a pad or a body, and how many are expected
    probe_patterns  where the holes of spirals, slaloms, grids and probe lines go
    survival        published survival curves, no further than their data
    digging         how much snow, and how long, for both schools of where to start
    snow            permittivity of snow and what it costs a buried radio
    trade           numbers said on every course, each with its source

Lengths are metres, moments A·m², fields A/m, angles radians, places (east, north, up) with up = 0 at
the snow's surface, so that a buried target has a negative third coordinate. Every random draw takes a
seed; nothing here reads a clock, a file or a setting. numpy is loaded with this package, so import it late.
"""

from fieldctl.physics.dipole import dipole_field

__all__ = ["dipole_field"]
