"""Jobs for the tests: chains of entries made in memory, pulls whose readings are stated, and small recordings."""

from __future__ import annotations

import copy
import datetime
import functools
import json

import numpy as np
from support.made import made_stream

from analysis.pull.reading import read_pull
from analysis.results import Sensor
from rig.book.events import FIRST_PREVIOUS, Kind, sealed
from rig.book.reading import reading_document
from rig.book.record import record_of
from rig.book.steps import own_steps
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import write_trace

START = datetime.datetime(2026, 3, 5, 10, 30, tzinfo=datetime.timezone(datetime.timedelta(hours=1)))
OIL = "invented gear oil"
CARD = {"window": {"torque": "40..65 N.m", "basis": "breakaway", "arrangement": "A"}}
TERMS = {
    "phase": "rebuilt",
    "arrangement": "A",
    "closure": "final",
    "lubricant": OIL,
    "additive": "none",
    "when": "2026-03-05T11:00:00+01:00",
    "calibration": {"certificate": "7", "due": "2026-12-31"},
    "transducer": {"name": "demo", "serial": "S1", "u_relative": 0.002},
}
SHEET = {
    "pack": {"unit": "demo", "oil": OIL, "arrangement": "A"},
    "left": {"plates": ["L1", "L2"], "springs": ["SL1"], "stack": "(", "shims": ["0.30 mm"]},
    "right": {"plates": ["R1", "R2"], "springs": ["SR1"], "stack": "(", "shims": ["0.30 mm"]},
}
GOOD_REFIT = {
    "sheet": {},
    "answer": {
        "fasteners": [{"name": "ring gear bolts", "complete": True, "locked_by": "tabs"}],
        "drags": [{"name": "bearings", "state": "in_window", "variation_state": None}],
        "backlashes": [{"name": "gear", "state": "in_window", "variation_state": "in_window"}],
    },
}


@functools.cache
def _read_once():
    return reading_document(read_pull(made_stream(), Sensor(u_relative=0.002, capacity_nm=200.0)))


def reading(torque_nm=52.0, direction=1, chatter=False, u_nm=None):
    """The reading of a quiet pull that lets go at `torque_nm`; `chatter` None: not assessable."""
    document = copy.deepcopy(_read_once())
    scale = torque_nm / document["breakaway"]["torque_nm"]
    document["breakaway"]["torque_nm"] = torque_nm
    document["sliding"]["torque_nm"] *= scale
    document["direction"] = direction
    document["chatter"] |= {"assessable": chatter is not None, "present": chatter, "score": 0.9 if chatter else 0.1}
    if u_nm is not None:
        document["breakaway"]["budget"] |= {"u_nm": u_nm, "lines": [{"source": "calibration", "u_nm": u_nm}]}
    return document


class Chain:
    """A job in memory; every call enters something and gives the number of its entry."""

    def __init__(self, job="2026-0001", unit="demo 3", **texts):
        self.job = job
        self.events = []
        self.add(Kind.OPENED, {"unit": unit, "steps": [step.document() for step in own_steps()], **texts})

    def add(self, kind, content):
        previous = self.events[-1].hash if self.events else FIRST_PREVIOUS
        at = START + datetime.timedelta(minutes=len(self.events))
        self.events.append(sealed(self.job, len(self.events) + 1, at, "T.W.", kind, content, previous))
        return len(self.events)

    def spec(self, card=CARD):
        return self.add(Kind.SPEC, {"files": [file("spec.toml")], "card": card})

    def pack(self, left_shims=("0.30 mm",), **pack):
        sheet = copy.deepcopy(SHEET)
        sheet["left"]["shims"] = list(left_shims)
        sheet["pack"] |= pack
        return self.add(Kind.PACK, {"files": [file("pack.toml")], "sheet": sheet})

    def oil(self, text=OIL, additive=None):
        return self.add(Kind.OIL, {"text": text, "volume": None, "additive": additive, "dose": None})

    def refit(self, content=GOOD_REFIT):
        return self.add(Kind.REFIT, {"files": [file("refit.toml")], **content})

    def pull(self, torque_nm=52.0, direction=1, chatter=False, u_nm=None, **terms):
        known = {key: value for key, value in {**TERMS, **terms}.items() if value is not None}
        content = {
            "files": [file(f"p{len(self.events)}.csv")],
            "terms": known,
            "reading": reading(torque_nm, direction, chatter, u_nm),
        }
        return self.add(Kind.PULL, content)

    def pulls(self, each_way=3, torque_nm=52.0, scatter_nm=0.4, **more):
        rng = np.random.default_rng(3)
        return [
            self.pull(torque_nm + float(rng.normal(0, scatter_nm)), direction, **more)
            for direction in (1, -1)
            for _ in range(each_way)
        ]

    def strike(self, entry, why="a slip of the pen"):
        return self.add(Kind.STRUCK, {"entry": entry, "why": why})

    @property
    def record(self):
        return record_of(self.events)


def file(name):
    return {"name": name, "sha256": f"{abs(hash(name)):064x}"}


def ready_chain(**more):
    """A job in which nothing is missing before the lock tabs."""
    chain = Chain(**more)
    chain.spec()
    chain.pack()
    chain.oil()
    chain.pulls()
    chain.refit()
    return chain


def write_pull(folder, name="p1.csv", *, peak_nm=52.0, direction=1, seed=1, **terms):
    """A small recording of one pull with its metadata; terms that `TraceInfo` does not know go in as they are."""
    trace = made_stream(peak_nm=peak_nm, seed=seed, rate_hz=200.0)
    if direction < 0:
        trace = type(trace)(trace.time_s, -trace.torque_nm, -trace.angle_deg)
    path = folder / name
    write_trace(path, trace, TraceInfo())
    beside = path.with_name(path.name + "-metadata.json")
    document = json.loads(beside.read_text("utf-8"))
    document["platepull:bench"] = {key: value for key, value in {**TERMS, **terms}.items() if value is not None}
    beside.write_text(json.dumps(document), "utf-8")
    return path
