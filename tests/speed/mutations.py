"""Deliberate mutations of the analysis, and whether a test notices: `python tests/speed/mutations.py [--only WORD] [--list]`.

Each puts one small fault into one place, in a copy of the program, and runs the tests nearest to it, one after another; one that
lives through them is told. A mutation is known by its text: where that does not stand exactly once in its file any more, it is
stale and told as such. Exit status 1 where one lived or is stale.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TIMEOUT_S = 240

SMALL = "tests/analysis/test_small_faults.py"
VERDICT = ("tests/analysis/test_verdict_rule.py", "tests/analysis/test_apart.py", "tests/outside/test_outside_conformity.py")
SENSOR = ("tests/analysis/test_calibration.py", "tests/outside/test_outside_calibration.py", "tests/analysis/test_verdict_rule.py")
GUM = ("tests/outside/test_outside_jcgm100.py", *VERDICT)
REFIT = ("tests/analysis/test_refit.py", "tests/outside/test_outside_refit.py", "tests/rig/refit/test_bolt_recording.py")
COMPARE = ("tests/analysis/compare", "tests/outside/test_outside_comparison.py")
STACK = (
    "tests/analysis/pack/test_springs_and_lines.py",
    "tests/analysis/pack/test_stack_and_arrangement.py",
    "tests/outside/test_outside_springs.py",
)
CHOICE = (
    "tests/analysis/pack/test_limits_and_hints.py",
    "tests/analysis/pack/test_shim_choice.py",
    "tests/analysis/pack/test_plausible.py",
    "tests/analysis/pack/test_inference.py",
)
READING = (
    "tests/analysis/test_zero.py",
    "tests/analysis/test_reading_faults.py",
    "tests/analysis/test_reading_hard_cases.py",
    "tests/analysis/test_slow_sensor.py",
    "tests/analysis/test_reading_properties.py",
    "tests/golden",
)
FINDING = ("tests/analysis/test_pulls.py",)
ENTRY = ("tests/analysis/test_units.py",)


@dataclass(frozen=True)
class Mutation:
    """`old` stands once in `file` and becomes `new`; `why` is what a person would get wrong by it."""

    file: str
    old: str
    new: str
    why: str
    tests: tuple[str, ...]


def _in(folder: str, tests: tuple[str, ...], *of: tuple[str, str, str, str]) -> list[Mutation]:
    return [Mutation(f"analysis/{folder}/{file}", old, new, why, tests) for file, old, new, why in of]


MUTATIONS = [
    *_in(
        "verdict",
        VERDICT,
        ("decide.py", "state = VerdictState.BELOW", "state = VerdictState.ABOVE", "below is told as above"),
        (
            "decide.py",
            "    elif is_above:\n        state = VerdictState.ABOVE",
            "    elif is_above:\n        state = VerdictState.BELOW",
            "above as below",
        ),
        ("decide.py", "guard = budget.expanded_u_nm if rule", "guard = budget.u_nm if rule", "the guard band is u, not U"),
        (
            "decide.py",
            "if rule is DecisionRule.GUARDED else 0.0",
            "if rule is DecisionRule.SIMPLE else 0.0",
            "the rules are exchanged",
        ),
        (
            "decide.py",
            "VerdictState.IN_WINDOW if high is None and clears_low",
            "VerdictState.IN_WINDOW if clears_low",
            "a lower bound is in a window",
        ),
        ("decide.py", "return max(0.0, up_to_high - up_to_low)", "return max(0.0, up_to_high)", "the lower limit is not counted"),
        (
            "decide.py",
            "if degrees_of_freedom is None else t_probability(z, degrees_of_freedom)",
            "",
            "probability is normal where U is Student's",
        ),
        (
            "votes.py",
            "return self.breakaway if basis is Basis.BREAKAWAY else self.sliding",
            "return self.breakaway",
            "a sliding window judged on breakaway",
        ),
        (
            "votes.py",
            "(*of.budget.lines, *ground.lines), result.at_least,",
            "(*of.budget.lines, *ground.lines), False,",
            "an overload counts as a reading",
        ),
        (
            "votes.py",
            "(*of.budget.lines, *ground.lines), result.at_least",
            "of.budget.lines, result.at_least",
            "what is not known of the sensor is left out",
        ),
        ("votes.py", 'if "rest_moved" in codes:', 'if "never" in codes:', "an unexplained level decides"),
        ("votes.py", "if was == CANNOT_TURN:", "if was == USUAL + USUAL:", "locked gears are judged"),
        (
            "votes.py",
            "torque_nm = reading.torque_nm * converted.factor",
            "torque_nm = reading.torque_nm / converted.factor",
            "converted the wrong way",
        ),
        (
            "votes.py",
            "BudgetLine(BudgetSource.CONVERTED, torque_nm * converted.u_relative)",
            "BudgetLine(BudgetSource.CONVERTED, 0.0)",
            "a conversion without u",
        ),
        (
            "series.py",
            "mean_nm = math.fsum(way.mean_nm for _, way in ways) / len(ways)",
            "mean_nm = max(way.mean_nm for _, way in ways)",
            "the higher direction for the mean",
        ),
        (
            "series.py",
            "u = math.sqrt(mean_square / n) if source in own_sources else",
            "u = math.sqrt(mean_square / n) if source not in () else",
            "what pulls share shrinks",
        ),
        ("series.py", "scatter.relative * mean_nm / math.sqrt(n)", "scatter.relative * mean_nm / n", "scatter of a mean too small"),
        ("series.py", "VerdictState.UNDECIDED: 1,", "VerdictState.UNDECIDED: 3,", "undecided one way, in the other: in"),
        ("series.py", "low is not None and low > detection_nm:", "low is not None:", "free under a sensor too large is below"),
        ("series.py", "if pull.excluded is None]\n    apart", "]\n    apart", "an excluded pull counts"),
        ("series.py", "elif not pull.free and pull.reading(basis) is None:", "elif False:", "a pull without a reading votes"),
        (
            "series.py",
            "        state=state,\n        probability_in_window=deciding",
            "        probability_in_window=deciding",
            "the mean decides, not the worse direction",
        ),
        ("series.py", "if waits is not None:", "if False:", "a question that is open does not hold the verdict"),
        (
            "series.py",
            "settling=settling)\n        mean = judge_value",
            "settling=settling)\n        return free\n        mean = judge_value",
            "held at times is told as free",
        ),
        ("scatter.py", "if own_degrees < TESTED_FROM or", "if True or", "a series that scatters more is pooled all the same"),
        (
            "scatter.py",
            "degrees = known_degrees + own.degrees_of_freedom",
            "degrees = known_degrees + 10 * own.degrees_of_freedom",
            "t too small",
        ),
        ("scatter.py", "degrees += len(values) - 1", "degrees += len(values)", "a degree of freedom too many"),
        (
            "ground.py",
            'lines.append(rectangular("drift since calibration"',
            'list().append(rectangular("drift since calibration"',
            "drift left out of the budget",
        ),
        ("ground.py", 'lines.append(rectangular("mounting"', 'list().append(rectangular("mounting"', "mounting left out"),
        (
            "ground.py",
            'lines.append(rectangular("sensor not known"',
            'list().append(rectangular("sensor not known"',
            "an unknown sensor is exact",
        ),
        (
            "ground.py",
            'lines.append(rectangular("certificate expired"',
            'list().append(rectangular("certificate expired"',
            "an expired certificate counts in full",
        ),
        (
            "ground.py",
            "return BudgetLine(source, limits_nm / RECTANGULAR)",
            "return BudgetLine(source, limits_nm / 3)",
            "limits for three sigma",
        ),
        ("ground.py", "missing.append(Missing.ZERO)", "pass", "a doubtful zero is not said"),
        ("apart.py", "rest > rules.rest_factor * max(", "rest > 100 * rules.rest_factor * max(", "a pull after a night counts"),
        ("apart.py", "> max(rules.least_distance, reach):", "> 10 * max(rules.least_distance, reach):", "a stray counts"),
        ("apart.py", "[: max(1, n // rules.share)]", "[: n]", "half of the pulls may be strays"),
        (
            "settling.py",
            "return Outlook(int(each[enough[0]]) * len(ways))",
            "return Outlook(int(each[enough[0]]))",
            "pulls are promised too few",
        ),
    ),
    *_in(
        "verdict",
        GUM,
        (
            "uncertainty.py",
            "u = math.sqrt(sum(line.u_nm**2 for line in kept))",
            "u = sum(line.u_nm for line in kept)",
            "lines added plainly",
        ),
        (
            "uncertainty.py",
            "expanded = math.sqrt(sum((student(line.degrees_of_freedom, coverage) * line.u_nm) ** 2",
            "expanded = math.sqrt(sum((2.0 * line.u_nm) ** 2",
            "k = 2 whatever is known",
        ),
        ("uncertainty.py", "return float(t_quantile(0.5 + coverage / 2,", "return float(t_quantile(coverage,", "one-sided t"),
        (
            "uncertainty.py",
            "degrees = u**4 / spread if spread > 0",
            "degrees = u**2 / spread if spread > 0",
            "Welch-Satterthwaite with squares",
        ),
    ),
    *_in(
        "sensor",
        SENSOR,
        (
            "correction.py",
            "of_fit = max(0.0, float(row @ np.array(function.covariance) @ row)) + function.u_nm**2",
            "of_fit = function.u_nm**2",
            "covariance left out of a second reading",
        ),
        ("correction.py", "+ (function.u_relative * torque_nm) ** 2", "", "the reference torque is exact"),
        (
            "correction.py",
            "return np.where(indication_nm >= 0, _value_at(forward, size), -_value_at(back, size))",
            "return np.where(indication_nm >= 0, _value_at(forward, size), -_value_at(forward, size))",
            "one direction's certificate for both",
        ),
        ("correction.py", "first, second = second, first", "pass", "the other direction's u"),
        (
            "correction.py",
            "lambda torque_nm: torque_nm * factor)",
            "lambda torque_nm: torque_nm / factor)",
            "the adapter turned round",
        ),
        ("correction.py", "(1 + RANGE_MARGIN) * own.high_nm:", "10 * own.high_nm:", "beyond the certificate without a word"),
        (
            "correction.py",
            'codes = ("calibration_expired",) if calibration.expired else ()',
            "codes = ()",
            "an expired certificate without a word",
        ),
        ("correction.py", "inside = np.minimum(x, function.end_nm)", "inside = x", "a parabola goes on beyond its points"),
        (
            "calibration.py",
            "u_nm=math.hypot(fit.deviation, abs(zero_return or 0.0) * abs(fit.coefficients[0]) / RECTANGULAR_WIDTH),",
            "u_nm=fit.deviation,",
            "the zero's return left out of u",
        ),
        (
            "calibration.py",
            "deviation = math.sqrt(float((residuals**2).sum()) / degrees)",
            "deviation = math.sqrt(float((residuals**2).mean()))",
            "n for the degrees of freedom",
        ),
        (
            "calibration.py",
            "indication_nm=sign * (run[i].indication_nm - zero))",
            "indication_nm=sign * run[i].indication_nm)",
            "indications not counted from zero",
        ),
        (
            "calibration.py",
            "reversibility_nm=max(back) if back else None,",
            "reversibility_nm=min(back) if back else None,",
            "the better of the series for the worse",
        ),
        (
            "calibration.py",
            "if all(value <= LIMITS_PER_CLASS[name] * best for name, value in figures):",
            "if any(value <= LIMITS_PER_CLASS[name] * best for name, value in figures):",
            "a class for one good figure",
        ),
        ("dead_weight.py", "* math.cos(math.radians(self.tilt_deg))", "", "the arm's tilt left out"),
        ("dead_weight.py", "(1 + _SOMIGLIANA * sine2)", "(1 - _SOMIGLIANA * sine2)", "gravity falls to the pole"),
        (
            "known_weights.py",
            "math.hypot(worst / RECTANGULAR, u_loads_relative), sends, worst <= FAR_OFF",
            "math.hypot(worst / RECTANGULAR, u_loads_relative), sends, True",
            "a sensor far off is believed",
        ),
        (
            "zero_history.py",
            "return len(known) > 1 and max(known) - min(known) > limit_nm",
            "return False",
            "a zero that moved is not said",
        ),
        (
            "zero_history.py",
            "self.exercised_nm(result.direction) < NEAR * reading.torque_nm:",
            "False:",
            "an unexercised sensor is not said",
        ),
    ),
    *_in(
        "refit",
        REFIT,
        ("limits.py", "value < self.low - guard - ROUNDING:", "value < self.low + guard - ROUNDING:", "undecided is below"),
        (
            "limits.py",
            "below_high = self.high is None or value <= self.high - guard + ROUNDING",
            "below_high = self.high is None or value <= self.high + guard + ROUNDING",
            "undecided is in",
        ),
        (
            "limits.py",
            "return Mean(value, math.hypot(scatter / math.sqrt(len(readings)), u))",
            "return Mean(value, scatter / math.sqrt(len(readings)))",
            "the instrument's error averages out",
        ),
        (
            "drag.py",
            "variation = max(variation, float(np.ptp(sliding)))",
            "variation = float(np.ptp(sliding))",
            "the last turn's variation",
        ),
        ("drag.py", "START_DEG = 45.0", "START_DEG = 0.0", "the start-up peak counts"),
        ("drag.py", "return State.SENSOR_TOO_LARGE\n    return window", "pass\n    return window", "a sensor too large judges"),
        (
            "backlash.py",
            "(middle - mean) / backlash_per_shim",
            "(mean - middle) / backlash_per_shim",
            "shim moved to the wrong side",
        ),
        (
            "backlash.py",
            "points = [point * gear_over_dial for point in points_mm]",
            "points = list(points_mm)",
            "the dial's radius is forgotten",
        ),
        (
            "fasteners.py",
            "torque = Limits(torque_nm * (1 - tolerance), torque_nm * (1 + tolerance))",
            "torque = Limits(torque_nm * (1 - tolerance), torque_nm * (2 + tolerance))",
            "a stretched bolt passes",
        ),
        ("fasteners.py", "return bool(bolts) and all(", "return bool(bolts) and any(", "one good bolt for all"),
        ("fill.py", "filled_l < (1 - LESS_THAN_DRAINED) * drained_l - ROUNDING:", "False:", "half the oil is not asked about"),
        (
            "bearing_gap.py",
            "abs(totals * tick_mm - needed_mm)",
            "np.maximum(0.0, needed_mm - totals * tick_mm)",
            "a stack too thick is as good",
        ),
    ),
    *_in(
        "compare",
        COMPARE,
        (
            "effects.py",
            "return Conclusion.ROSE if difference > 0 else Conclusion.FELL",
            "return Conclusion.ROSE if difference < 0 else Conclusion.FELL",
            "rose for fell",
        ),
        ("effects.py", "(len(p) - rank)", "1", "without Holm's correction"),
        ("effects.py", "not plain and before.pulls == after.pulls and alike:", "not plain and alike:", "pooled at unequal numbers"),
        (
            "effects.py",
            "return 1 / (1 + threshold) <= ratio_low and ratio_high <= 1 + threshold",
            "return 1 / (1 + threshold) <= ratio_high and ratio_low <= 1 + threshold",
            "held though it may have changed",
        ),
        ("effects.py", "return self.pulls - len(self.n)", "return self.pulls - 1", "directions taken for one"),
        ("effects.py", "math.sqrt(variance + extra_variance)", "math.sqrt(variance)", "a change of sensor is free"),
        ("effects.py", "return 2 * float(t_probability(", "return float(t_probability(", "one-sided p"),
        (
            "figures.py",
            "ratio = math.exp(spreads[1].mean - spreads[0].mean)",
            "ratio = math.exp(spreads[0].mean - spreads[1].mean)",
            "before over after",
        ),
        ("figures.py", "min(1.0, value * len(p)) for name", "value for name", "figures of chatter uncorrected"),
        ("figures.py", "better = word is Conclusion.FELL", "better = word is Conclusion.ROSE", "more chatter is better"),
        ("conditions.py", "if apart_c > rules.temperature_far_c:", "if False:", "hot against cold compared"),
        ("conditions.py", "found.append(_refusal(Refused.ARRANGEMENT_DIFFERS, arrangement))", "pass", "A compared with B"),
    ),
    *_in(
        "pack",
        STACK,
        ("cup_springs.py", "(shape.cone_height_mm - 0.5 * s)", "(shape.cone_height_mm - s)", "the spring law"),
        ("cup_springs.py", "POISSON = 0.3", "POISSON = 0.0", "steel without Poisson's ratio"),
        ("cup_springs.py", "rise = 1.0 + risen * late", "rise = 1.0 - risen * late", "softer near flat"),
        ("cup_springs.py", "reduction = reduced_mm / thickness_mm", "reduction = 1.0", "contact flats forgotten"),
        ("stack.py", "return 2.0 / 3.0 * (outer_mm**3 - inner_mm**3)", "return 0.5 * (outer_mm**3 - inner_mm**3)", "mean radius"),
        (
            "stack.py",
            "return friction * force_n * faces * radius_mm / 1000.0",
            "return friction * force_n * radius_mm / 1000.0",
            "one face for all",
        ),
        ("arrangement.py", "SUM_OVER_MEAN = 2.0", "SUM_OVER_MEAN = 1.0", "case held reads once"),
        (
            "arrangement.py",
            "if ramps_deg is not None and ramps_deg < CONVERTED_FROM_RAMPS_DEG:",
            "if False:",
            "steep ramps converted",
        ),
        (
            "arrangement.py",
            "Conversion(SUM_OVER_MEAN / ratio, RAMP_EXCESS_MAX)",
            "Conversion(SUM_OVER_MEAN, RAMP_EXCESS_MAX)",
            "the final drive's ratio forgotten",
        ),
        (
            "line.py",
            "softness = sum((1.0 / rate for rate in rates), start=np.asarray(compliance_mm_per_n, dtype=np.float64))",
            "softness = sum((1.0 / rate for rate in rates), start=np.float64(0.0))",
            "a stack of plates that does not yield",
        ),
    ),
    *_in(
        "pack",
        CHOICE,
        ("buildable.py", "if total > limit or any(", "if any(", "more shims than the card allows"),
        ("buildable.py", "if all(both.count(size) <= stock[size] for size in set(both)):", "if True:", "a shim used twice"),
        (
            "buildable.py",
            "return left.mm + build.left.shim_total_mm - right.mm - build.right.shim_total_mm",
            "return left.mm - right.mm",
            "left and right without shims",
        ),
        ("end_play.py", "read = one.mm - change", "read = one.mm + change", "a shim makes play"),
        (
            "end_play.py",
            "read = entry.end_play_mm[n] - (height_now.mm - height.mm)",
            "read = entry.end_play_mm[n]",
            "a thicker stack leaves the play",
        ),
    ),
    *_in(
        "pull",
        READING,
        (
            "breakaway.py",
            "sampling = max(sampling, _gap_nm(c, at, ramp))",
            "sampling = max(sampling, 0.0)",
            "no extra u for a gap beside the peak",
        ),
        (
            "breakaway.py",
            "value += slope * c.step_s * _beyond(c, at, value, slope)",
            "pass",
            "a sharp corner read at its last sample",
        ),
        (
            "breakaway.py",
            "sampling = slope * c.step_s / RECTANGULAR_WIDTH",
            "sampling = 0.0",
            "what fell between two samples has no u",
        ),
        (
            "sliding.py",
            "c.time_s[first:last] if c.angle_deg is None else c.angle_deg[first:last]",
            "c.time_s[first:last]",
            "sliding averaged over time",
        ),
        (
            "sliding.py",
            "return math.sqrt(scatter**2 + ends**2 + (FLOOR_SHARE * float(np.mean(shares))) ** 2)",
            "return 0.0",
            "uneven sliding has no u",
        ),
        (
            "rest.py",
            "rest = Rest(0, end, float(np.mean(still)), lasted_s)",
            "rest = Rest(0, end, float(np.mean(still[-5:])), lasted_s)",
            "the zero from the end of the lead-in only",
        ),
        (
            "rest.py",
            "return None if _under_load(trace.torque_nm, rest.level_nm, noise_nm, rules) else rest",
            "return rest",
            "plates held under load are zero",
        ),
        ("rest.py", "    if _climbs(trace.torque_nm[:end]", "    if False and _climbs(trace.torque_nm[:end]", "a ramp is a rest"),
        (
            "rest.py",
            "return Zero(before, after, level, moved, stepped, not proven, leapt_at)",
            "return Zero(before, after, level, moved, stepped, False, leapt_at)",
            "a zero on trust is not said",
        ),
        (
            "rest.py",
            "    return np.interp(trace.time_s, middle",
            "    return zero.level_nm\n        return np.interp(trace.time_s, middle",
            "a zero that drifts is not followed",
        ),
        ("quality.py", "if c.clipped.any():", "if False:", "a sensor at its limit without a word"),
        ("quality.py", "if c.gaps.size:", "if False:", "a gap without a word"),
        ("quality.py", "    if spikes:", "    if False:", "spikes without a word"),
        ("quality.py", "c.spikes < ends", "c.spikes < c.time_s.size", "the swing of a lever let go told as spikes"),
        ("quality.py", "if turns >= rules.ripple_turns else None", "if False else None", "a ripple without a word"),
        ("quality.py", "course.rival is not None:", "False:", "two releases without a word"),
        ("clipping.py", "float(np.diff(away[:last]).min()) < 0.0:", "True:", "an indicator on peak memory not seen"),
        ("bursts.py", "if min(leaps) > rules.rail_leap * capacity_nm:", "if False:", "the rail of an open wire taken for torque"),
        ("hum.py", "* (n - 1):", "* (n - 1) or n:", "hum at half the rate left in"),
        (
            "rest.py",
            "return Rest(begin, end, level, (n - first) * step_s) if dies and far else None",
            "return None",
            "no rest while ringing",
        ),
        ("course.py", "if came_back and low - begin", "if False and low - begin", "the climb of a new stroke taken for sliding"),
        (
            "tremor.py",
            "return heights[0] if heights[0] > rules.hum_share",
            "return None if heights[0] > rules.hum_share",
            "hum taken for chatter",
        ),
        ("knee.py", "oil = oil if oil > rules.oil_least else 0.0", "oil = 0.0", "the knee of cold oil read late"),
        ("quality.py", "yield QualityFlag(QualityCode.ZERO_DRIFT, c.drift_nm, limit)", "pass", "a drift without a word"),
        ("quality.py", "return not course.sliding and course.let_go is not None", "return False", "let go without a word"),
        (
            "clipping.py",
            "if last - first < max(least, rules.held_runs * repeats) or before.size < BEFORE_LEAST:",
            "if last - first < 1000 * least or before.size < BEFORE_LEAST:",
            "a flat top is read",
        ),
    ),
    *_in(
        "pull",
        FINDING,
        ("finder.py", "gap = took_s > self.rules.gap_s", "gap = took_s > 1e9", "what turned in a gap counts"),
        ("finder.py", "if rested >= rules.rest_s:", "if rested >= 10 * rules.rest_s:", "a pull never ends"),
        (
            "finder.py",
            "cut_short = level_nm is None and pull.announced",
            "cut_short = False and pull.announced",
            "a pull cut off is thrown away",
        ),
        ("finder.py", "self._zero_nm = float(np.median(settled))", "self._zero_nm = float(settled[-1])", "the zero is one block"),
        ("finder.py", "if pull.turned_free(limits, rules):", "if False:", "a free turn is nothing"),
    ),
    Mutation("analysis/units.py", "if all_capitals", "if not all_capitals", "N.M in a heading of capitals", ENTRY),
]


def apply(mutation: Mutation, copy: Path) -> bool:
    """Put the fault in; False where its text does not stand there exactly once."""
    path = copy / mutation.file
    text = path.read_text(encoding="utf-8")
    if text.count(mutation.old) != 1:
        return False
    changed = text.replace(mutation.old, mutation.new)
    compile(changed, mutation.file, "exec")  # a fault that any import shows proves no test
    path.write_text(changed, encoding="utf-8")
    return True


def noticed(mutation: Mutation, copy: Path) -> tuple[bool, str]:
    """Whether a test fails with it, and which."""
    env = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1", "QT_QPA_PLATFORM": "offscreen"}
    tests = [*mutation.tests, SMALL]
    words = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:xdist", "-p", "no:cacheprovider", "--no-header", *tests]
    try:
        done = subprocess.run(words, cwd=copy, env=env, capture_output=True, text=True, timeout=TIMEOUT_S, check=False)
    except subprocess.TimeoutExpired:
        return True, "it never ended"
    if done.returncode == 1:
        failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
        return True, failed[0].split(" - ")[0] if failed else "a test failed"
    if done.returncode == 0:
        return False, ""
    raise SystemExit(f"{mutation.file}: {mutation.why}: no test ran: {done.stdout[-500:]}{done.stderr[-500:]}")


def main() -> int:
    """Try them all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", metavar="WORD", help="those whose file, text or reason holds it")
    parser.add_argument("--list", action="store_true", help="only see whether each can be made")
    args = parser.parse_args()
    wanted = [one for one in MUTATIONS if args.only in f"{one.file} {one.old} {one.why}"]
    began, lived, stale = time.monotonic(), [], []
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "program"
        kept_out = shutil.ignore_patterns(
            "__pycache__", ".venv", ".git", ".mypy_cache", ".ruff_cache", ".pytest_cache", ".hypothesis"
        )
        shutil.copytree(ROOT, copy, ignore=kept_out)
        for number, one in enumerate(wanted, start=1):
            if not apply(one, copy):
                stale.append(one)
                print(f"{number:3} STALE  {one.file}: {one.old!r}", flush=True)
                continue
            if not args.list:
                seen, by = noticed(one, copy)
                lived += [] if seen else [one]
                print(f"{number:3} {'killed' if seen else 'LIVED '} {one.file}: {one.why}  {by}", flush=True)
            shutil.copyfile(ROOT / one.file, copy / one.file)
    tried = len(wanted) - len(stale)
    print(f"{tried - len(lived)} of {tried} killed, {len(lived)} lived, {len(stale)} stale; {time.monotonic() - began:.0f} s")
    return 1 if lived or stale else 0


if __name__ == "__main__":
    sys.exit(main())
