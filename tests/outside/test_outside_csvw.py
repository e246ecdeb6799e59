"""Our trace pairs, read by somebody else's reader of CSV on the Web.

Source: W3C, "Metadata Vocabulary for Tabular Data", Recommendation of 17 December 2015; the reader is the `csvw` library.
"""

from pathlib import Path

import numpy as np
import pytest
from support.calibrated import made_certificate

from analysis.results import OffsetAdapter
from analysis.trace import Trace
from analysis.window import Window
from rig.files.metadata import TraceInfo, Transducer
from rig.files.trace_csv import info_path, read_trace, write_trace

RECORDINGS = Path(__file__).resolve().parents[2] / "recordings"
PAIRS = sorted(RECORDINGS.glob("*.csv"))

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")  # of the library's own dependencies


def read_by_others(path):
    from csvw import CSVW

    pair = CSVW(str(path), md_url=str(info_path(path)), validate=True)
    assert pair.is_valid, pair.warnings
    (table,) = pair.tables
    return [list(row.values()) for row in table]


@pytest.mark.parametrize("path", PAIRS[::5], ids=lambda path: path.stem)
def test_recordings_are_valid_and_read_the_same(path):
    trace, _ = read_trace(path)
    rows = np.array(read_by_others(path), dtype=float)
    assert np.array_equal(rows[:, 0], trace.time_s)
    assert np.array_equal(rows[:, 1], trace.torque_nm)
    assert np.array_equal(rows[:, 2], trace.angle_deg)


def test_every_term_of_ours_may_stand_in_a_valid_document(tmp_path):
    info = TraceInfo(
        job="J-17 \u2013 \u00fc",
        number=1,
        temperature_c=21.5,
        window=Window.parse("35..60 N.m"),
        transducer=Transducer(u_relative=0.005),
        offset_adapter=OffsetAdapter(lever_m=0.5, length_m=0.1),
        calibration_flags="zero_moved",
    ).with_certificate(made_certificate())
    path = tmp_path / "pull.csv"
    write_trace(path, Trace([0.0, 0.1], [1.0, -2.5]), info)
    assert read_by_others(path) == [[0.0, 1.0], [0.1, -2.5]]
    assert read_trace(path)[1] == info
