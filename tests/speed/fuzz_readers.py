"""Every reader of files on files that are nearly right: python tests/speed/fuzz_readers.py [NAME|all] [SECONDS] [SEED]

NAME is one of those that `--help` lists; each runs for SECONDS (60) on its own valid file, changed at random: bytes, lines, keys,
numbers, texts that have broken a reader before. The rule is one: a value, or one refusal in a printable line, within two seconds.
Prints how many were tried and refused, the slowest and the memory; ends at the first break, and keeps the file that broke it.
With `--guided` (needs: pip install atheris) the coverage of our readers steers the changes.
"""

from __future__ import annotations

import random
import re
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import date
from pathlib import Path
from types import ModuleType
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from support.calibrated import made_certificate  # noqa: E402

from analysis.errors import BenchError  # noqa: E402
from analysis.units import scale_to_si  # noqa: E402
from drivers.wirefile import MAGIC, read_wire  # noqa: E402
from rig.book.steps import read_steps  # noqa: E402
from rig.calibration.plan import TEMPLATE as PLAN  # noqa: E402
from rig.calibration.plan import load_plan  # noqa: E402
from rig.calibration.points import read_points  # noqa: E402
from rig.files.certificate import read_certificate, write_certificate  # noqa: E402
from rig.files.profile import read_profile  # noqa: E402
from rig.files.trace_csv import read_info, read_trace  # noqa: E402
from rig.live.listening import chunks_of  # noqa: E402
from rig.pack.pack_sheet import read_pack_document  # noqa: E402
from rig.pack.shelf import read_shelf  # noqa: E402
from rig.pack.spec_card import read_spec_card  # noqa: E402
from rig.pack.springs import read_curve  # noqa: E402
from rig.pack.templates import PACK, SHELF, SPEC  # noqa: E402
from rig.refit.document import read_refit  # noqa: E402
from rig.refit.template import TEMPLATE as REFIT  # noqa: E402
from rig.settings import load_settings  # noqa: E402
from rig.window.memory import recall  # noqa: E402

PROFILE = """[device]
name = "bench 1"
port = "/dev/ttyUSB0"
baud = 115200
protocol = "text"
capacity = "200 N.m"
u = "within 0.5 % of range"
[text]
columns = ["torque [lbf.ft]", "angle [deg]"]
delimiter = ","
rate = "500 Hz"
[modbus]
address = 17
rate = "20 Hz"
[modbus.torque]
register = 107
type = "int16"
scale = "0.1 lbf.ft"
[offset_adapter]
lever = "500 mm"
length = "75 mm"
"""
SETTINGS = (
    'window = "35..60 N.m"\nbasis = "sliding"\nrule = "simple"\nunit = "lbf.ft"\nu = "0.5 %"\nscatter = "4 % (12)"\nwho = "T.W."\n'
)
MEMORY = '{"theme": "light", "unit": "N.m", "second_unit": null, "sound": true, "conditions": {"oil": "x", "window": "25..45 N.m"}}'
POINTS = (
    "mass [kg],indication [N.m],direction,load,series,mounting\n0,0.1,1,up,1,1\n2,9.9,1,up,1,1\n4,19.7,1,up,1,1\n0,0.1,1,down,1,1\n"
)
TRACE = "time [s],torque [N.m],angle [deg]\r\n" + "".join(f"{n / 50},{min(n, 40)}.5,{n / 4}\r\n" for n in range(120))
WIRE = MAGIC + "\n0.0 o loop://\n0.1 r 1.0,2.0\\r\\n\n0.2 w \\x01\n0.3 x gone\n"
CURVE = "deflection [mm],load [N]\n0,0\n0.1,200\n0.2,380\n0.3,500\n0.4,600\n"

_WORDS = """nan inf 1e999 -1 0 1e-300 1e30 null true [] {} "" '' [[ ]] { } "1mm" "-1mm" "1e30N.m" "9**9**9*N.m" "N.m" "5" "25..45J"
"\\u0000" "../../x" "/dev/zero" "free" \0 \x1b[2J é \u202e " ' , ; = . # \\ \\x [a] [[a]] a.b.c=1 torque[%] torque[N.m/deg]
angle[counts] 2026-13-45 9999-12-31 1_0 0x10"""
TOKENS = [word.encode() for word in (*_WORDS.split(), "9" * 400, "9" * 5000, "(" * 50, "[" * 3000, "\r", "\r\n", "\n", "\t", " ")]


def changed(text: bytes, dice: random.Random) -> bytes:
    """A file changed in one to six places."""
    for _ in range(dice.choice((1, 1, 1, 2, 3, 6))):
        at = dice.randrange(len(text) + 1)
        way = dice.randrange(9)
        if way == 0:
            text = text[:at] + bytes([dice.randrange(256)]) + text[at + 1 :]
        elif way == 1:
            text = text[:at] + dice.choice(TOKENS) + text[at:]
        elif way == 2:
            text = text[:at] + text[at + dice.randrange(1, 20) :]
        elif way in (3, 4):  # a value or a word gives way to a token
            words = [part for part in text.replace(b"\n", b" \n ").split(b" ") if part.strip()]
            if words:
                text = text.replace(dice.choice(words), dice.choice(TOKENS), 1)
        elif way == 5:
            lines = text.split(b"\n")
            lines.insert(dice.randrange(len(lines)), dice.choice(lines))
            text = b"\n".join(lines)
        elif way == 6:
            lines = text.split(b"\n")
            del lines[dice.randrange(len(lines))]
            text = b"\n".join(lines)
        elif way == 7:
            text = text[:at]
        else:
            text = text[:at] + text[at : at + dice.randrange(1, 30)] * dice.choice((2, 50, 1000)) + text[at:]
    return text


def readers(folder: Path) -> dict[str, tuple[str, bytes, Callable[[Path], Any]]]:
    """Of each reader: its file's name, a valid file, and how it is read."""
    plan = re.sub(r'= ""(\s+)# such as (".*?")', r"= \2", PLAN)
    (folder / "plan.toml").write_text(plan)
    write_certificate(folder / "valid.json", made_certificate())
    reference = load_plan(folder / "plan.toml", date(2026, 3, 5)).reference
    recording = ROOT / "recordings" / "after_additive.csv-metadata.json"
    return {
        "profile": ("p.toml", PROFILE.encode(), read_profile),
        "plan": ("c.toml", plan.encode(), lambda path: load_plan(path, date(2026, 3, 5))),
        "certificate": ("c.json", (folder / "valid.json").read_bytes(), read_certificate),
        "metadata": ("m.csv-metadata.json", recording.read_bytes(), lambda path: read_info(path.with_name("m.csv"))),
        "settings": ("s.toml", SETTINGS.encode(), load_settings),
        "memory": ("w.json", MEMORY.encode(), recall),
        "points": ("p.csv", POINTS.encode(), lambda path: read_points(path, reference)),
        "trace": ("t.csv", TRACE.encode(), read_trace),
        "wire": ("t.wire", WIRE.encode(), read_wire),
        "capture": ("t.bin", WIRE.encode(), chunks_of),
        "pack": ("PACK.toml", PACK.encode(), read_pack_document),
        "spec": ("SPEC.toml", SPEC.encode(), read_spec_card),
        "shelf": ("SHELF.toml", SHELF.encode(), read_shelf),
        "curve": ("SL1.csv", CURVE.encode(), read_curve),
        "refit": ("REFIT.toml", REFIT.encode(), read_refit),
        "steps": ("STEPS.toml", (ROOT / "rig" / "book" / "steps.toml").read_bytes(), read_steps),
    }


SLOW_S = 2.0
CHANGED_FILES = 200
"""So many files that are nearly right the guided search begins with."""
MOST_BYTES = 20_000
OWN_CHANGES = 0.5
LONG_WORD = 100
"""A dictionary of atheris takes no longer words."""


def one_try(path: Path, data: bytes, read: Callable[[Path], Any]) -> tuple[bool, float]:
    """Whether the file was refused, and how long it took. Raises AssertionError where the rule is broken."""
    path.write_bytes(data)
    began = time.process_time()  # of this process alone: the machine may be busy
    refused = False
    try:
        read(path)
    except BenchError as refusal:
        refused = True
        said = str(refusal)
        assert said.isprintable(), repr(said)
        assert len(said) < 1500, said
    lasted = time.process_time() - began
    assert lasted < SLOW_S, f"{lasted:.1f} s"
    return refused, lasted


def fuzz(name: str, seconds: float, seed: int, folder: Path) -> None:
    """Try one reader for that long. Raises SystemExit at the first break of the rule."""
    file, valid, read = readers(folder)[name]
    path, dice = folder / file, random.Random(seed)
    assert not one_try(path, valid, read)[0], f"the valid {name} is refused"
    tried = refused = 0
    slowest = 0.0
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        data = changed(valid, dice)
        try:
            no, lasted = one_try(path, data, read)
        except BaseException as fault:
            kept = Path(tempfile.gettempdir()) / f"broke_{file}"
            kept.write_bytes(data)
            raise SystemExit(
                f"{name}, seed {seed}, try {tried}: {type(fault).__name__}: {fault}\nthe file is kept as {kept}"
            ) from fault
        tried, refused, slowest = tried + 1, refused + no, max(slowest, lasted)
    memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    share = 100 * refused / tried
    print(f"{name:12} {tried:8} tried, {share:3.0f} % refused, slowest {1000 * slowest:6.1f} ms, {memory_mb:5.0f} MB", flush=True)


def guided(name: str, seconds: float, seed: int, folder: Path) -> None:
    """Let atheris choose the changes by what they reach in our readers."""
    import atheris

    for module in [each for key, each in sys.modules.items() if key.split(".")[0] in ("rig", "analysis", "drivers")]:
        for each in functions_of(module):
            with suppress(Exception):
                each.__code__ = atheris.instrument_func(each).__code__
    file, valid, read = readers(folder)[name]
    corpus, words, dice = folder / "corpus", folder / "words", random.Random(seed)
    corpus.mkdir(exist_ok=True)
    (corpus / "valid").write_bytes(valid)
    for number in range(CHANGED_FILES):
        (corpus / f"changed_{number}").write_bytes(changed(valid, dice)[:MOST_BYTES])
    as_hex = ("".join(f"\\x{byte:02x}" for byte in token) for token in TOKENS if len(token) < LONG_WORD)
    words.write_text("".join(f'"{word}"\n' for word in as_hex))

    def step(data: bytes) -> None:
        try:
            one_try(folder / file, data, read)
        except BaseException:
            (Path(tempfile.gettempdir()) / f"broke_{file}").write_bytes(data)
            raise

    def mutate(data: bytes, most: int, seed: int) -> bytes:
        """Half of the changes know what a key, a value and a line are."""
        own = random.Random(seed)
        return changed(data, own)[:most] if own.random() < OWN_CHANGES else atheris.Mutate(data, most)

    options = [f"-max_total_time={seconds:.0f}", f"-max_len={MOST_BYTES}", f"-seed={seed}", f"-dict={words}"]
    atheris.Setup([sys.argv[0], str(corpus), *options], step, custom_mutator=mutate)
    atheris.Fuzz()


def functions_of(module: ModuleType) -> Iterator[Any]:
    """Functions and methods that are written in that module, also class methods and properties."""
    for thing in list(vars(module).values()):
        if getattr(thing, "__module__", "") != module.__name__:
            continue
        for each in vars(thing).values() if isinstance(thing, type) else [thing]:
            plain = getattr(each, "__func__", None) or getattr(each, "fget", None) or each
            if hasattr(plain, "__code__"):
                yield plain


def main() -> None:
    """Fuzz one reader or all."""
    scale_to_si("furlong", "length")  # the registry of units takes a second to load, once
    words = [word for word in sys.argv[1:] if not word.startswith("--")]
    name, seconds, seed = (*words, *("all", "60", "1")[len(words) :])
    with tempfile.TemporaryDirectory() as folder:
        names = list(readers(Path(folder)))
        if "--help" in sys.argv:
            print(__doc__, "\nNAME:", ", ".join(names))
        elif "--guided" in sys.argv:
            guided(name, float(seconds), int(seed), Path(folder))
        else:
            for each in names if name == "all" else (name,):
                fuzz(each, float(seconds), int(seed), Path(folder))


if __name__ == "__main__":
    main()
