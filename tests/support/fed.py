"""A bench fed by hand: the real session, no thread and no line, so that a window can be shown any moment of a pull."""

from support.made import made_stream

from analysis.results import Sensor
from analysis.trace import Trace
from drivers.items import LineUp
from rig.live.runner import LineFigures, Status
from rig.live.session import Session
from rig.live.wishes import Describe, ZeroNow


class FedBench:
    """What a window asks of a bench, answered from what a test has fed."""

    def __init__(self, window=None, first_number=1):
        self.session = Session(sensor=Sensor(u_nm=0.4, capacity_nm=200.0), window=window, first_number=first_number)
        self.told = [LineUp("made bench")]
        self.pieces = []
        self.closed = False
        self.described = []
        self.zeroed = 0
        self.line = LineFigures(samples=1000, rate_hz=500.0, up=True)
        self._at_s = 0.0
        self._turned_deg = 0.0

    @property
    def status(self):
        session = self.session
        return Status(session.pulling, session.exercising, session.pulls, session.zero_nm, self.line)

    def news(self):
        told, self.told = self.told, []
        return told

    def scope(self):
        pieces, self.pieces = self.pieces, []
        return pieces

    def ask(self, wish):
        if isinstance(wish, Describe):
            self.described.append(wish.info)
        self.zeroed += isinstance(wish, ZeroNow)
        self.told += self.session.carry_out(wish)

    def inform(self, item):
        """Nobody listens."""

    def close(self):
        if not self.closed:
            self.closed = True
            self.told += self.session.finish()

    def feed(self, trace, until_s=None):
        """Take a stream in pieces of 10 samples, at most `until_s` of it."""
        end = len(trace) if until_s is None else int((trace.time_s < trace.time_s[0] + until_s).sum())
        for first in range(0, end, 10):
            piece = trace.cut(first, min(end, first + 10))
            self.pieces.append(piece)
            self.told += self.session.step(piece)

    def pull(self, peak_nm=60.0, *, back=False, until_s=None, rate_hz=500.0):
        """One pull after the last; `back`: the other way round."""
        made = made_stream(peak_nm=peak_nm, start_s=self._at_s, rate_hz=rate_hz)
        if back:
            made = made.mirrored()
        trace = Trace(made.time_s, made.torque_nm, made.angle_deg + self._turned_deg)
        self._at_s = float(trace.time_s[-1]) + 0.002
        self._turned_deg = float(trace.angle_deg[-1])
        self.feed(trace, until_s)
