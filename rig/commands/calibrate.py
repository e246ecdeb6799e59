"""`platepull calibrate`: from a plan and points, taken at the bench or written down, to a certificate."""

from __future__ import annotations

import argparse
import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.errors import BenchError
from rig.errors import ArgumentError
from rig.words.language import say, spoken
from rig.words.retold import fault_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rig.calibration.plan import Plan
    from rig.calibration.point_taker import Gauge
    from rig.files.certificate import Certificate

REFUSED = 4
"""Exit status of a sensor that is too far off to be believed."""

NAME = "calibrate"
HELP = "calibrate the torque sensor by weights or a reference sensor, and make its certificate"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("plan", nargs="?", metavar="PLAN.toml", type=Path, help="the plan; it names the file of the points")
    parser.add_argument("--template", action="store_true", help="print a plan to fill in, or write it where one is named")
    parser.add_argument("--device", metavar="PROFILE.toml", help="take the points now from this device, one load after the other")
    parser.add_argument("--reference", metavar="PROFILE.toml", help="the reference sensor's device, where it is on a line too")
    parser.add_argument("--out", metavar="C.json", type=Path, help="the certificate (its number as a name, beside the plan)")
    parser.add_argument("--unit", metavar="UNIT", help="unit of the torques shown while points are taken or checked (N.m)")
    parser.add_argument("--no-pdf", action="store_true", help="no printed sheet")
    check = parser.add_argument_group("a check of one minute, for a sensor that nobody has calibrated")
    check.add_argument("--check", action="store_true", help="hang two known weights on the lever: what may be stated of the sensor")
    check.add_argument("--weights", metavar="M,M", help="the two, such as '5 kg, 10 kg'")
    check.add_argument("--arm", metavar="L", help="from the sensor's axis to where they hang, such as '600 mm'")
    check.add_argument("--shown", metavar="T,T", help="what the sensor showed, counted from zero; without a device on a line")


def run(args: argparse.Namespace) -> int:
    """Take points if a device is named, then make the certificate."""
    from datetime import date

    from rig.calibration.plan import TEMPLATE, load_plan
    from rig.calibration.points import certificate_of
    from rig.errors import CertificateError
    from rig.files.certificate import certificate_file, write_certificate
    from rig.sheets.certificate import sheet_lines
    from rig.sheets.phrases import Phrases

    if args.template:
        return _template(args.plan, TEMPLATE)
    if args.check:
        return _check(args)
    if args.plan is None:
        raise ArgumentError("no plan", where="PLAN.toml", remedy="get one to fill in: platepull calibrate --template")
    if args.reference and not args.device:
        raise ArgumentError(
            "there is a reference, but no device", where="--reference", remedy="name the sensor's profile: --device"
        )
    plan = load_plan(args.plan, date.today())
    out: Path = args.out or certificate_file(args.plan, plan.draft)
    if out.exists():
        raise CertificateError(
            "is there already", where=str(out), remedy="give the certificate another number, or name another --out"
        )
    _say_how_far(plan, _unit(args))
    if args.device and not _taken(args, plan):
        print(
            say("broken off; what was taken is in {points}: the same command goes on with it", points=plan.points), file=sys.stderr
        )
        return 0
    certificate = certificate_of(plan)
    print("\n".join(sheet_lines(certificate, Phrases(spoken()))))
    write_certificate(out, certificate)
    print("\n" + say('written: {path}; name it in the profile: certificate = "{name}"', path=out, name=out.name))
    if not args.no_pdf:
        _print_sheet(out.with_suffix(".pdf"), certificate)
    return 0


def _template(path: Path | None, text: str) -> int:
    """Print the template, or write it where there is no such file yet. Raises ArgumentError."""
    if path is None:
        print(text, end="")
        return 0
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise ArgumentError("there is such a file already", where=str(path), remedy="choose another name") from None
    except OSError as fault:
        raise ArgumentError(
            f"cannot be written ({fault.strerror})", where=str(path), remedy="check folder, rights and space"
        ) from fault
    print(say("written: {path}", path=path))
    return 0


def _say_how_far(plan: Plan, unit: str) -> None:
    """Say before the work which torques the loads reach, and whether that is enough for the window of the settings."""
    from analysis.window import Window
    from rig.settings import load_settings
    from rig.words.sentences import torque

    if not plan.loads:
        return
    most_nm = plan.reference.torque_nm(plan.loads[-1])
    print(
        say(
            "the loads reach {torque}; beyond that the certificate is stretched, and a verdict grows wider",
            torque=torque(most_nm, unit),
        ),
        file=sys.stderr,
    )
    text = load_settings().window
    high_nm = None if text is None else Window.parse(text).high_nm
    if high_nm is not None and high_nm > most_nm:
        print(
            say("the window in your settings goes to {torque}: add heavier loads or a longer arm", torque=torque(high_nm, unit)),
            file=sys.stderr,
        )


def _check(args: argparse.Namespace) -> int:
    """Two known weights: print what may be stated of the sensor; 4 where it is too far off."""
    from rig.calibration.point_taker import Stopped
    from rig.calibration.weight_check import check, check_lines, hung, take

    for option in ("weights", "arm"):
        if getattr(args, option) is None:
            raise ArgumentError(
                "is needed for a check", where=f"--{option}", remedy="such as --weights '5 kg, 10 kg' --arm '600 mm'"
            )
    weights, unit = hung(args.weights, args.arm), _unit(args)
    if args.shown is not None:
        shown = _torques(args.shown)
    elif args.device is not None:
        with _gauge(args.device, under_test=True) as gauge:
            try:
                shown = take(weights, gauge, _Person(), unit)
            except (Stopped, KeyboardInterrupt):
                print(say("broken off; nothing was stated"), file=sys.stderr)
                return 0
    else:
        raise ArgumentError("no sensor", where="--check", remedy="name its profile (--device), or say what it showed (--shown)")
    found = check(weights, shown)
    print("\n".join(check_lines(weights, found, unit)))
    return 0 if found.believed else REFUSED


def _unit(args: argparse.Namespace) -> str:
    """Of the torques that are shown: of `--unit`, else as they were typed, else of the settings. Raises UnitError."""
    from analysis.units import split_quantity
    from rig.commands._options import unit_of
    from rig.settings import load_settings

    typed = split_quantity(args.shown.split(",")[-1])[1] if args.shown else None
    return unit_of(args.unit or typed or load_settings().unit)


def _torques(text: str) -> list[float]:
    """Two torques with their unit. Raises ArgumentError or UnitError."""
    from analysis.errors import quoted
    from analysis.units import to_si

    shown = [to_si(part, "torque") for part in text.split(",") if part.strip()]
    if len(shown) != len(("first", "second")):
        raise ArgumentError(f"{quoted(text)} is not two torques", where="--shown", remedy="write them like '29.5 N.m, 58.9 N.m'")
    return shown


def _print_sheet(path: Path, certificate: Certificate) -> None:
    """The certificate is made with or without its sheet: what is missing for it is said, and how to get it."""
    from importlib.metadata import version

    from rig.sheets.certificate import certificate_page
    from rig.sheets.phrases import Phrases
    from rig.sheets.printing import write_pdf

    phrases = Phrases(spoken())
    try:
        page = certificate_page(certificate, phrases, software=f"platepull {version('platepull')}")
        write_pdf(path, page, language=phrases.language, day=certificate.made)
    except BenchError as fault:
        print(say("no printed sheet: {fault}", fault=fault_text(fault)), file=sys.stderr)
    else:
        print(say("written: {path}", path=path))


class _Person:
    """The person at the terminal."""

    def ask(self, question: str) -> str:
        """The answer; the end of the input is the wish to end."""
        try:
            return input(question + " ")
        except EOFError:
            print()
            return "q"

    def say(self, line: str) -> None:
        """A line to read."""
        print(line, flush=True)


def _taken(args: argparse.Namespace, plan: Plan) -> bool:
    """Take the points; False: the person broke off."""
    from rig.calibration.point_taker import PointTaker, Stopped

    with contextlib.ExitStack() as open_lines:
        gauge = open_lines.enter_context(_gauge(args.device, under_test=True))
        reference = open_lines.enter_context(_gauge(args.reference, under_test=False)) if args.reference else None
        try:
            PointTaker(plan, gauge, reference, _Person(), _unit(args)).run()
        except (Stopped, KeyboardInterrupt):
            return False
    return True


@contextlib.contextmanager
def _gauge(profile_name: str, *, under_test: bool) -> Iterator[Gauge]:
    """A device on its line. One under test reads as it sends; a reference with its own certificate in force."""
    from datetime import date

    from drivers.items import ConnectionLost, LineUp, LineWarning
    from rig.calibration.gauge import open_gauge
    from rig.commands._watch import terminal_of
    from rig.files.profile import read_profile
    from rig.live.news import Failed
    from rig.settings import profile_path

    terminal = terminal_of("N.m", large=False)

    def tell(item: object) -> None:
        if isinstance(
            item, LineUp | ConnectionLost | LineWarning | Failed
        ):  # a weight that is hung looks like a pull: no word of that
            terminal.show(item)

    with open_gauge(read_profile(profile_path(profile_name)), tell, date.today(), under_test=under_test) as gauge:
        yield gauge
