"""Coverage-guided fuzzing of the decoders: python tests/speed/fuzz_decoders.py NAME [SECONDS]   (needs: pip install atheris)

NAME is text, frames, modbus, time, wire or guess. The rule is one: whatever the bytes, no exception; readings are sane; and
the result does not depend on where the wire cut. Ends at the first break of the rule, else after SECONDS (600).
"""

from __future__ import annotations

import math
import sys
import tempfile
import tomllib
from pathlib import Path

import atheris

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT)]

with atheris.instrument_imports(include=["drivers"]):
    from drivers import frames, guess, modbus, profile, text, timebase, unwrap, wirefile  # noqa: F401
    from drivers.codec import Codec
    from drivers.errors import WireFileError

import numpy as np  # noqa: E402

from analysis.units import Scale  # noqa: E402
from rig.files.profile import profile_of  # noqa: E402

C = text.Column
LAYOUTS = (
    text.TextFormat(columns=(C("torque", "lbf.ft"), C("angle", "deg")), rate_hz=500.0),
    text.TextFormat(columns=(C("time", "ms"), C("skip"), C("torque", "N.m")), delimiter=";"),
    text.TextFormat(columns=(C("torque", "N.m"), C("counter")), delimiter=" ", rate_hz=100.0),
    text.TextFormat(columns=(C("torque", "N.m", "T"), C("angle", "deg", "A")), delimiter=" ", rate_hz=100.0),
    text.TextFormat(columns=(C("torque", "N.m"), C("skip")), check=True, rate_hz=9.0),
    text.TextFormat(columns=(C("torque", "N.m"),), delimiter="\t", decimal=",", sign_after=True, tag="$TQ", rate_hz=9.0),
)
BIG = frames.Description(torque_bytes=4, angle_bytes=4, period_ns=100_000, torque_per_count=0.5, angle_per_count=0.25, name="big")
TORQUE = modbus.Value(register=107, type="float32", scale=Scale(1.0), overload=32767.0)
ASKED = modbus.ModbusFormat(
    address=17, rate_hz=20.0, torque=TORQUE, angle=modbus.Value(register=109, type="int16", scale=Scale(1.0))
)


def check(codecs: tuple[Codec, Codec], data: bytes, cut: int) -> None:
    """Whole in one, cut in the other."""
    whole, parts = codecs
    readings = whole.feed(data)
    assert parts.feed(data[:cut]) + parts.feed(data[cut:]) == readings
    assert whole.faults == parts.faults
    for reading in readings:
        assert not math.isnan(reading.torque)
        assert reading.angle is None or math.isfinite(reading.angle)
        assert reading.stamp is None or math.isfinite(reading.stamp)


def fuzz_text(data: bytes) -> None:
    """The first byte chooses the layout, the second the cut."""
    layout = LAYOUTS[data[0] % len(LAYOUTS)] if data else LAYOUTS[0]
    check((text.TextCodec(layout), text.TextCodec(layout)), data[2:], data[1] if len(data) > 1 else 0)


def fuzz_frames(data: bytes) -> None:
    """Bodies as they come, and with the right CRC and stuffing, so that what lies behind these is reached."""
    head = frames.encode_description(BIG) if data and data[0] & 1 else b""
    bodies = data[2:].split(b"\xfe\xfd")
    wire = data[2:] if data and data[0] & 2 else b"".join(frames.frame(body[:250]) for body in bodies)
    check((frames.FramesCodec(), frames.FramesCodec()), head + wire, data[1] if len(data) > 1 else 0)


def fuzz_modbus(data: bytes) -> None:
    """Bytes as they come, and answers with the right CRC."""
    wire = data[2:]
    if data and data[0] & 1:
        wire = b"".join(modbus.FramerRTU(modbus.DecodePDU(False)).encode(body, 17, 0) for body in wire.split(b"\xfe\xfd") if body)
    codecs = modbus.ModbusCodec(ASKED), modbus.ModbusCodec(ASKED)
    for codec in codecs:
        codec.ask()
    check(codecs, wire, data[1] if len(data) > 1 else 0)


def fuzz_time(data: bytes) -> None:
    """Stamps of any kind at rising arrivals: times rise strictly and are finite."""
    made = atheris.FuzzedDataProvider(data)
    base = timebase.TimeBase(("time", "counter", "place")[made.ConsumeIntInRange(0, 2)], 0.002)
    newest, arrival_s = -math.inf, 0.0
    for _ in range(made.ConsumeIntInRange(1, 12)):
        arrival_s += made.ConsumeIntInRange(0, 5000) / 1000
        count = made.ConsumeIntInRange(0, 12)
        if made.ConsumeBool():
            start, step = made.ConsumeIntInRange(0, 70000), made.ConsumeIntInRange(0, 3)
            stamps = [start + step * at for at in range(count)]
        else:
            stamps = [min(max(made.ConsumeFloat(), -1e18), 1e18) for _ in range(count)]
        rows = np.column_stack([np.zeros(count), np.zeros(count), np.nan_to_num(np.array(stamps, dtype=float))])
        if made.ConsumeIntInRange(0, 9) == 0:
            base.restart()
        times, kept = base.feed(rows, arrival_s)
        assert len(times) == len(kept)
        assert np.isfinite(times).all()
        assert (np.diff(times, prepend=newest) > 0).all()
        newest = float(times[-1]) if len(times) else newest


def fuzz_wire(data: bytes) -> None:
    """A recording is read or refused."""
    try:
        events = wirefile.parse_wire(wirefile.MAGIC + " {}\n" + data.decode("latin-1"), "fuzz")
    except WireFileError:
        return
    assert all(math.isfinite(event.time_s) for event in events)


def fuzz_guess(data: bytes) -> None:
    """What is guessed is a profile that can be read."""
    size = 1 + len(data) // 4
    found = guess.guess([guess.Chunk(0.3 * at, data[at * size : (at + 1) * size]) for at in range(4)])
    if found is not None:
        written = profile.profile_text(
            name="x",
            port="P",
            baud=9600,
            bits=found.bits,
            capacity=None,
            layout=found.with_units(torque="N.m", angle="deg", time="s").layout,
            remarks=found.because + found.caveats,
        )
        profile_of(tomllib.loads(written), "guess.toml")


SEEDS = {
    "text": [
        b"\0\x05\n12.5,3\r\nOL,4\r\n1 N.m,2 deg\n",
        b"\3\x09\nT=1.5 A=2\nT : OL A=3\n",
        b"\1\3\n1;OL;- 2.5\n2;ST;+ 2 [N-m]\n3;x;----- Nm\n",
        b"\4\0\n1,2*1F\n$1,2*1F\n",
        b"\5\0\n$TQ\t4,5-\n$ST\tok\n",
    ],
    "frames": [b"\2\0" + frames.encode_description(BIG) + frames.encode_samples(BIG, 0, 400, [(1, 2)] * 5), b"\1\0S" + bytes(22)],
    "modbus": [b"\1\0" + bytes((3, 6)) + bytes(6), b"\0\0\x11\x83\x02\xc1\x34"],
    "time": [],
    "wire": [b"0.1 r 12.5,3\\r\\n\n0.2 x gone\n0.3 o P\n"],
    "guess": [
        b"\n" + b"12.5,3\n" * 20,
        b"\n" + b"T=1.5 N.m A=2\r\n" * 20,
        b"\n" + b"ST,GS,+1.50 Nm\n" * 20,
        b"\n" + b"\x02- 1,50 [Nm], 3 \xb0\x03\r\n" * 20,
        b"time;torque\n" + b"1;2,5\n" * 20,
    ],
}


def main() -> None:
    """Run libFuzzer on one decoder."""
    name = sys.argv[1]
    corpus = tempfile.mkdtemp(prefix="platepull-fuzz-")
    for at, seed in enumerate(SEEDS[name]):
        (Path(corpus) / str(at)).write_bytes(seed)
    seconds = sys.argv[2] if len(sys.argv) > 2 else "600"
    options = [f"-max_total_time={seconds}", "-max_len=1200", "-print_final_stats=1", "-verbosity=0", "-timeout=10"]
    atheris.Setup([sys.argv[0], *options, corpus], globals()[f"fuzz_{name}"])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
