"""Calibration points of made sensors whose gain, curvature, hysteresis and scatter are known, and certificates from them."""

import math
from datetime import date

import numpy as np

from analysis.sensor.calibration import Point
from rig.files.certificate import Certificate, certified

LOADS = (20.0, 40.0, 60.0, 80.0, 100.0)


def made_points(
    gain=0.98, curve=0.0, offset=3.0, hysteresis=0.0, scatter=0.0, left=0.0, sign=1, mountings=(1, 1, 2), rng=None, loads=LOADS
):
    """Indications of a sensor that shows x where the torque is gain x + curve x²; falling loads show `hysteresis` more."""
    rng = rng or np.random.default_rng(3)
    points = []
    for series, mounting in enumerate(mountings, start=1):
        points.append(Point(0.0, offset, series=series, mounting=mounting))
        for rising, run in ((True, loads), (False, loads[-2::-1])):
            for torque in run:
                shown = 2 * torque / (gain + math.sqrt(gain**2 + 4 * curve * torque))
                shown += (0 if rising else hysteresis) + scatter * rng.standard_normal()
                points.append(Point(sign * torque, offset + sign * shown, rising, series, mounting))
        points.append(Point(0.0, offset + left, False, series, mounting))
    return points


def made_certificate(*, gain=0.9, back_gain=0.8, due=date(2027, 3, 5), **kind):
    """A certificate of a sensor that shows too much by 1/gain one way and 1/back_gain the other."""
    forward = made_points(gain=gain, scatter=0.05, **kind)
    back = [
        Point(point.torque_nm, point.indication_nm, point.rising, point.series + 3, point.mounting)
        for point in made_points(gain=back_gain, scatter=0.05, sign=-1, **kind)
    ]
    return certified(
        Certificate(
            number="QF-C-1",
            made=min(date(2026, 3, 5), due),
            due=due,
            sensor="bench 1",
            serial="0042",
            method="weights, invented",
            u_relative=0.001,
            degree=1,
            points=(*forward, *back),
        )
    )
