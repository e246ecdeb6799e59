"""What a number of this trade can be at all: bounds on every number that is read. Beyond them it is a slip of pen, unit or point.

They are wide on purpose (common practice, no source): inside them nothing is judged, outside them nothing is believed.
"""

from __future__ import annotations

from typing import Final

TORQUE_MOST_NM: Final = 20_000.0
"""Of a window, a reading or a capacity: several times what the largest lever of a workshop makes by hand (about 2 m, 1 kN)."""
TORQUE_LEAST_NM: Final = 1e-9
"""No sensor resolves a billionth of a newton metre, and numbers near the smallest that a computer has upset its own arithmetic."""
CAPACITY_LEAST_NM: Final = 0.01
"""Of a torque sensor that anybody could put between a hand and a unit."""
OVER_CAPACITY: Final = 3.0
"""Torque above so many times a sensor's capacity is not read by it: bonded strain gauges are destroyed by then."""
U_MOST_OF_CAPACITY: Final = 1.0
"""A standard uncertainty is smaller than the sensor's whole range."""
RESOLUTION_MOST_OF_CAPACITY: Final = 0.2
"""A sensor shows at least five steps in its range."""
PULL_LEAST_S: Final = 0.2
"""No hand loads a lever and lets it go sooner."""
TRACE_MOST_S: Final = 7 * 86_400.0
"""A recording that claims to last over a week has a wrong unit of time."""
ANGLE_MOST_DEG: Final = 1e7
"""Some thirty thousand turns in one trace."""
TEMPERATURE_C: Final = (-60.0, 200.0)
"""Of a unit on the bench; oil beyond it has long gone solid, or smokes."""
REST_MOST_S: Final = 366 * 86_400.0
"""A year of rest before a pull."""
GAIN: Final = (0.1, 10.0)
"""Slope of a calibration function, true over indicated torque: a wrong unit alone is at most 9.8 (kgf.m)."""
SAMPLES_MOST: Final = 20_000_000
"""Of one trace: half an hour at 10 kHz, as much as fits into the memory that is promised."""
