"""How well, and how fast, pulls are read: ours and two plain scripts, on the same pulls in the same run.

    python tests/speed/readings.py                 everything (a few minutes; simulated pulls are kept in the temporary folder)
    python tests/speed/readings.py --quick         a tenth of it
    python tests/speed/readings.py --only-ours --sets makes,aside,fresh,bench    other makes, those kept aside, a busy bench
    python tests/speed/readings.py --only-ours --sets third --per-kind 25        the third set, kind by kind
    python tests/speed/readings.py --only-ours --sets kept --kinds-from FILE.py  kinds kept in a file of their own (its KINDS)
    python tests/speed/readings.py --kinds lash,bites --n 200 --by-kind --worst 20 --sets wide

Prints markdown. Nothing here passes or fails; what must hold is tested elsewhere, this measures.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402
from scipy.signal import butter, filtfilt  # noqa: E402
from support.busy_bench import NO_PULLS, busy_bench, turned_free  # noqa: E402
from support.peers import ruptures_script, scipy_script  # noqa: E402
from support.pull_fresh import FRESH  # noqa: E402
from support.pull_makes import ASIDE, KINDS, makes  # noqa: E402
from support.pull_third import THIRD, Kind, third  # noqa: E402
from support.pull_truth import Truth  # noqa: E402
from support.pullset import HELD_OUT_SEEDS, WIDE_KINDS, SimPull, held_out, simulate_cached  # noqa: E402
from support.scoring import Answer, Line, figures, score  # noqa: E402

from analysis.pull.finder import PullFinder, find_pulls  # noqa: E402
from analysis.pull.reading import read_pull  # noqa: E402
from analysis.results import Sensor  # noqa: E402
from analysis.trace import Trace  # noqa: E402

SHARED_PULLS = Path(os.environ.get("PLATEPULL_SHARED_DATA") or ROOT.parent / "shared" / "data") / "pulls"
FIRST_SEED = 101


def ours(trace: Trace, sensor: Sensor) -> Answer:
    """Our reading, as an answer to be scored."""
    result = read_pull(trace, sensor)
    first, then, chatter = result.breakaway, result.sliding, result.chatter
    return Answer(
        found=first is not None,
        breakaway_nm=first.torque_nm if first else None,
        breakaway_u_nm=first.budget.expanded_u_nm if first else None,
        sliding_nm=then.torque_nm if then else None,
        sliding_u_nm=then.budget.expanded_u_nm if then else None,
        assessable=chatter.assessable,
        score=chatter.score,
        present=bool(chatter.present),
        rate_hz=chatter.frequency_hz,
        codes=tuple(flag.code.value for flag in result.quality),
    )


METHODS: dict[str, Callable[[Trace, Sensor], Answer]] = {
    "platepull": ours,
    "scipy script": lambda trace, sensor: scipy_script(trace, sensor.capacity_nm),
}
if importlib.util.find_spec("ruptures"):
    METHODS["ruptures script"] = lambda trace, sensor: ruptures_script(trace, sensor.capacity_nm)


def _judge_some(job: tuple[str, list[tuple[int, SimPull]]]) -> list[Line]:
    method, pulls = job
    lines = []
    for number, pull in pulls:
        begin = time.perf_counter()
        answer = METHODS[method](pull.trace, pull.sensor)
        took = time.perf_counter() - begin
        rate = 1.0 / float(np.median(np.diff(pull.trace.time_s)))
        told = Answer(**{**{f: getattr(answer, f) for f in answer.__dataclass_fields__}, "seconds": took})
        lines.append(score(number, pull.truth, told, rate, pull.gain_error))
    return lines


def judge_all(method: str, pulls: Sequence[SimPull], workers: int) -> list[Line]:
    """Score every pull, on all workers."""
    numbered = list(enumerate(pulls))
    jobs = [(method, numbered[at : at + 20]) for at in range(0, len(numbered), 20)]
    with ProcessPoolExecutor(workers) as pool:
        return [line for lines in pool.map(_judge_some, jobs) for line in lines]


def shared_pulls(folder: Path) -> list[SimPull]:
    """The thirty pulls handed to the project; no calibration is stated with them, so coverage there is without one."""
    out = []
    for one in json.loads((folder / "truth.json").read_text(encoding="utf-8")):
        trace = Trace(*np.loadtxt(folder / one["trace"], delimiter=",", skiprows=1).T)
        out.append(SimPull(trace, _shared_truth(one, trace), Sensor(), 0.0, 0))
    return out


def _shared_truth(one: dict[str, object], trace: Trace) -> Truth:
    kind, found = str(one["kind"]), one["breakaway_nm"] is not None
    known = 0.0
    if kind == "tremor":
        late = trace.torque_nm[trace.time_s > float(one["breakaway_time_s"]) + 0.3]  # type: ignore[arg-type]
        held = late[late > 0.7 * float(one["sliding_nm"])]  # type: ignore[arg-type]
        known = float(np.ptp(np.percentile(held, [1, 99]))) / 2
    return Truth(
        kind=kind, pull_found=found, direction=-1 if kind == "reverse" else 1,
        breakaway_nm=one["breakaway_nm"], breakaway_time_s=one["breakaway_time_s"], breakaway_known_nm=known,  # type: ignore[arg-type]
        sliding_nm=one["sliding_nm"], chatter=bool(one["chatter"]), rate_hz=one["chatter_hz"], rate_steady=bool(one["chatter"]),  # type: ignore[arg-type]
        peak_to_peak_nm=one["chatter_peak_to_peak_nm"], faults=("tremor",) if kind == "tremor" else (),  # type: ignore[arg-type]
    )  # fmt: skip


def print_set(title: str, pulls: Sequence[SimPull], args: argparse.Namespace) -> None:
    """Table of all methods, then the worst pulls of ours, then by kind."""
    methods = list(METHODS) if not args.only_ours else ["platepull"]
    judged = {method: judge_all(method, pulls, args.workers) for method in methods}
    columns = [figures(judged[method]) for method in methods]
    print(f"\n### {title}\n\n| | {' | '.join(methods)} |\n|---|{'---|' * len(methods)}")
    for row in columns[0]:
        print(f"| {row.strip()} | {' | '.join(column[row] for column in columns)} |")
    mine = judged["platepull"]
    if args.worst:
        print(f"\nThe {args.worst} worst of ours:\n")
        for line in sorted(mine, key=lambda x: -x.worst)[: args.worst]:
            print("- " + describe(line))
        print("\nChatter misread:\n")
        misread = [x for x in mine if x.counts_for_chatter and x.answer.assessable and x.answer.present != x.truth.chatter]
        for line in misread[: args.worst]:
            print("- " + describe(line))
    if args.by_kind:
        print_kinds(mine)


def describe(line: Line) -> str:
    """One pull in one line."""
    t, a = line.truth, line.answer

    def against(read: float | None, true: float | None) -> str:
        if read is None or true is None:
            return f"{'none' if read is None else f'{read:.4g}'} (true {'none' if true is None else f'{true:.4g}'})"
        return f"{read:.4g} (true {true:.4g}, {100 * (read / true - 1):+.2f} %)"

    return (
        f"no. {line.number} {t.kind} at {line.rate_hz:.0f} Hz {'+'.join(t.faults) or 'no faults'}: breakaway "
        f"{against(a.breakaway_nm, t.breakaway_nm)}, sliding {against(a.sliding_nm, t.sliding_nm)}, chatter "
        f"{f'{a.score:.2f}' if a.assessable else 'not assessable'} (true {t.chatter}{', marginal' if t.marginal else ''}), "
        f"rate {against(a.rate_hz, t.rate_hz)}, codes {'+'.join(a.codes) or 'none'}"
    )


def print_kinds(lines: Sequence[Line]) -> None:
    """Ours, kind by kind."""
    kinds: dict[str, list[Line]] = defaultdict(list)
    for line in lines:
        kinds[line.truth.kind].append(line)
    rows = ("pulls", "found or not: wrong", "breakaway error, median / p95 / worst %", "sliding error, median / p95 / worst %",
            "slides, but no sliding read", "chatter recall", "chatter false alarms", "chatter called not assessable",
            "slips a second, error median / p95 %", "95 % interval holds breakaway / sliding")  # fmt: skip
    print(f"\n| kind | {' | '.join(rows)} |\n|---|{'---|' * len(rows)}")
    for kind, some in kinds.items():
        cells = figures(some)
        print(f"| {kind} | {' | '.join(cells[row] for row in rows)} |")


def print_third(title: str, table: Mapping[str, Kind], args: argparse.Namespace) -> None:
    """Kinds of the third set: tails, what was silent; traces of what was wrong without a word (coded_: far off, but said)."""
    pulls = third(args.per_kind * len(table), args.third_seed, table)
    print_set(f"{title}: {len(pulls)} pulls of {len(table)} kinds, seed {args.third_seed}", pulls, args)
    lines = judge_all("platepull", pulls, args.workers)
    columns = ("kind", "expert", "breakaway p95 / worst %", "sliding p95 / worst %", "silent over 3 %", "wrong without a word",
               "holds breakaway / sliding %", "chatter: right, wrong, not assessable", "found wrong", "codes")  # fmt: skip
    print(f"\n| {' | '.join(columns)} |\n|{'---|' * len(columns)}")
    for name, kind in table.items():
        mine = [x for x in lines if x.truth.kind == name]
        cells = [name, kind.expert, _tails([x.breakaway for x in mine]), _tails([x.sliding for x in mine])]
        cells += [str(sum(x.silent for x in mine)), str(sum(_wordless(x) for x in mine)), _held(mine), _chatter(mine)]
        codes = Counter(code for x in mine for code in x.answer.codes)
        cells += [str(sum(not x.found_right for x in mine)), ", ".join(f"{code} {count}" for code, count in codes.most_common())]
        print(f"| {' | '.join(cells)} |")
    if args.cases:
        _save_cases(args.cases, pulls, lines)


def _wordless(line: Line) -> bool:
    """Silent, or found wrong, or clipped unnoticed, and no code says anything."""
    return not line.answer.codes and (line.silent or not line.found_right or "clipped" in line.truth.faults)


def _tails(shares: Sequence[float | None]) -> str:
    values = [100 * s for s in shares if s is not None]
    return f"{np.percentile(values, 95):.2f} / {max(values):.2f} ({len(values)})" if values else "-"


def _held(lines: Sequence[Line]) -> str:
    sides = ([c for x in lines if (c := getattr(x, name)) is not None]
             for name in ("breakaway_covered_known", "sliding_covered_known"))  # fmt: skip
    return " / ".join(f"{100 * float(np.mean(side)):.0f}" if side else "-" for side in sides)


def _chatter(lines: Sequence[Line]) -> str:
    counted = [x for x in lines if x.counts_for_chatter]
    assessed = [x for x in counted if x.answer.assessable]
    right = sum(x.answer.present == x.truth.chatter for x in assessed)
    return f"{right}, {len(assessed) - right}, {len(counted) - len(assessed)}"


def _save_cases(folder: Path, pulls: Sequence[SimPull], lines: Sequence[Line]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    print()
    for line in lines:
        wordless, far = line.silent or _wordless(line), 0.1 < line.worst < 9
        if wordless or far:
            path = folder / f"{'' if wordless else 'coded_'}{line.truth.kind}_{line.number}.csv"
            trace = pulls[line.number].trace
            angle = [] if trace.angle_deg is None else [trace.angle_deg]
            head = "time [s],torque [N.m]" + ("" if trace.angle_deg is None else ",angle [deg]")
            table = np.column_stack([trace.time_s, trace.torque_nm, *angle])
            np.savetxt(path, table, fmt="%.5f", delimiter=",", comments="", header=head)
            print(f"- {path.name}: {describe(line)}; U {line.answer.breakaway_u_nm}, {line.answer.sliding_u_nm}")


def kinds_from(path: Path) -> Mapping[str, Kind]:
    """The KINDS of a Python file that stands anywhere."""
    spec = importlib.util.spec_from_file_location("kinds_kept", path)
    if spec is None or spec.loader is None:
        raise SystemExit(f"{path} is no Python file")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return dict(module.KINDS)


def print_bench(minutes: float) -> None:
    """What the finder makes of a busy bench at rest, and of real pulls on it: false pulls, missed pulls, free turns."""
    told: Counter[str] = Counter()
    lasted_s = turns = 0.0
    seed = 0
    while lasted_s < 60 * minutes:
        rng = np.random.default_rng(seed)
        kinds = [NO_PULLS[i] for i in rng.integers(0, len(NO_PULLS), 100)] + [turned_free] * 20
        pieces = [kinds[i](rng) for i in rng.permutation(len(kinds))]
        trace = busy_bench(
            pieces, rng, noise_nm=float(rng.choice([0.02, 0.05, 0.2])), step_deg=float(rng.choice([0.01, 0.1, 0.5, 2.0]))
        )
        finder = PullFinder(200.0)
        told.update(type(event).__name__ for event in [*finder.feed(trace), *finder.finish()])
        lasted_s, turns, seed = lasted_s + trace.duration_s, turns + 20, seed + 1
    pulls = simulate_cached(1050, FIRST_SEED, WIDE_KINDS, 1)
    missed = sum(len(find_pulls(p.trace, p.sensor.capacity_nm)) != int(p.truth.pull_found) for p in pulls)
    print("\n### A busy bench at rest\n")
    print(f"{lasted_s / 60:.0f} minutes, {100 * seed} happenings that are no pull: {told['PullEnded']} false pulls")
    print(f"free turns told: {told['TurnedFree']} of {turns:.0f}; levels at rest that moved, told: {told['RestMoved']}")
    print(f"pulls of the wide set missed, or found where none was: {missed} of {len(pulls)}")


def print_speed(largest: int) -> None:
    """Whole reading of a file against loading it and one zero-phase pass; and how the cost grows with samples."""
    pull = next(p for p in simulate_cached(40, 77, ["clean", "chatter_strong"], 2) if p.trace.angle_deg is not None)
    print("\n### Speed\n")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "pull.csv"
        _write(path, _resampled(pull.trace, 1000.0, 8.0))
        load = _file_reader()
        b, a = butter(2, 0.05)
        base, whole = [], []
        for _ in range(40):
            # CPU time: on a shared machine a clock counts the others' work too, and more so for the longer of two tasks.
            begin = time.process_time()
            filtfilt(b, a, np.loadtxt(path, delimiter=",", skiprows=1)[:, 1])
            middle = time.process_time()
            read_pull(load(path))
            base.append(middle - begin)
            whole.append(time.process_time() - middle)
    ratio = float(np.median(whole) / np.median(base))
    print(
        f"8 s at 1 kHz, file included: {1e3 * np.median(whole):.1f} ms, loadtxt and one filtfilt {1e3 * np.median(base):.1f} ms: "
    )
    print(f"ratio {ratio:.2f}\n\n| samples | ms | us a sample |\n|---|---|---|")
    for count in (10_000, 100_000, 1_000_000, 10_000_000):
        if count > largest:
            break
        long = _resampled(pull.trace, count / 8.0, 8.0)
        times = []
        for _ in range(1 if count > 1_000_000 else 3):
            begin = time.perf_counter()
            read_pull(long)
            times.append(time.perf_counter() - begin)
        print(f"| {count} | {1e3 * min(times):.1f} | {1e6 * min(times) / count:.3f} |")


def _file_reader() -> Callable[[Path], Trace]:
    try:
        from rig.files.trace_csv import read_trace
    except ImportError:
        print("(rig.files.trace_csv is not there: numpy.loadtxt reads the file)")
        return lambda path: Trace(*np.loadtxt(path, delimiter=",", skiprows=1).T)
    return lambda path: read_trace(path)[0]


def _resampled(trace: Trace, rate_hz: float, length_s: float) -> Trace:
    """The pull stretched to `length_s` at `rate_hz`, with noise of its own so that no sample repeats."""
    time_s = np.arange(round(rate_hz * length_s)) / rate_hz
    source = (trace.time_s - trace.time_s[0]) * (length_s / trace.duration_s)
    noise = np.random.default_rng(5).standard_normal(time_s.size) * 1e-3 * float(np.abs(trace.torque_nm).max())
    assert trace.angle_deg is not None
    angle = np.round(np.interp(time_s, source, trace.angle_deg), 2)
    return Trace(time_s, np.round(np.interp(time_s, source, trace.torque_nm) + noise, 4), angle)


def _write(path: Path, trace: Trace) -> None:
    assert trace.angle_deg is not None
    table = np.column_stack([trace.time_s, trace.torque_nm, trace.angle_deg])
    np.savetxt(path, table, fmt=["%.4f", "%.4f", "%.2f"], delimiter=",", comments="", header="time [s],torque [N.m],angle [deg]")


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--n", type=int, default=2100, help="pulls of the wide set; the held-out set is a third of it")
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    parser.add_argument("--held-out-seed", type=int, default=HELD_OUT_SEEDS[0])
    parser.add_argument("--kinds", default="", help="kinds of the wide set, by comma")
    parser.add_argument("--sets", default="shared,wide,held,makes,aside,fresh,third,bench,speed")
    parser.add_argument("--per-kind", type=int, default=25, help="pulls a kind of the third set")
    parser.add_argument("--third-seed", type=int, default=2611)
    parser.add_argument("--kinds-from", type=Path, help="a file with kinds of its own, for --sets kept")
    parser.add_argument("--cases", type=Path, help="folder for the traces of the third set that were wrong without a word")
    parser.add_argument("--worst", type=int, default=10)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--by-kind", action="store_true")
    parser.add_argument("--only-ours", action="store_true")
    parser.add_argument("--quick", action="store_true")
    args = parser.parse_args()
    n = max(1, args.n // 10) if args.quick else args.n
    kinds = tuple(args.kinds.split(",")) if args.kinds else WIDE_KINDS
    sets = args.sets.split(",")
    if "shared" in sets:
        if SHARED_PULLS.exists():
            print_set("The thirty shared pulls", shared_pulls(SHARED_PULLS), args)
        else:
            print("\n(the shared pulls are not there: left out)")
    if "wide" in sets:
        title = f"Wide set: {n} simulated pulls, seed {args.seed}, {len(kinds)} kinds"
        print_set(title, simulate_cached(n, args.seed, kinds, args.workers), args)
    if "held" in sets:
        pulls = held_out(max(1, n // 3), args.held_out_seed, args.workers)
        print_set(f"Held out: {len(pulls)} pulls of kinds and seeds nothing was tuned on, seed {args.held_out_seed}", pulls, args)
    if "makes" in sets:
        made = makes(n // 4, args.seed)
        print_set(f"Other makes: {len(made)} pulls of {len(KINDS)} kinds, seed {args.seed}", made, args)
    if "aside" in sets:
        made = makes(n // 10, args.held_out_seed, tuple(ASIDE))
        print_set(f"Other makes kept aside: {len(made)} pulls of {len(ASIDE)} kinds, seed {args.held_out_seed}", made, args)
    if "fresh" in sets:
        made = makes(n // 4, args.held_out_seed, tuple(FRESH))
        print_set(f"Makes by another hand: {len(made)} pulls of {len(FRESH)} kinds, seed {args.held_out_seed}", made, args)
    if "third" in sets:
        print_third("Third set", THIRD, args)
    if "kept" in sets and args.kinds_from:
        print_third(f"Kinds of {args.kinds_from.name}", kinds_from(args.kinds_from), args)
    if "bench" in sets:
        print_bench(30 if args.quick else 250)
    if "speed" in sets:
        print_speed(1_000_000 if args.quick else 10_000_000)


if __name__ == "__main__":
    main()
