"""What options and settings say of the sensor, of what is on the bench and of where pulls go. Loads neither line nor analysis."""

from __future__ import annotations

import argparse
from datetime import date, datetime
from importlib.metadata import version
from pathlib import Path

from rig.calibration.sensor_in_use import SensorChoice, chosen_certificate
from rig.commands._options import stated_info
from rig.files.metadata import TraceInfo
from rig.settings import Settings


def software() -> str:
    """Name and version of this program, as it goes into the metadata of recordings."""
    return f"platepull {version('platepull')}"


def sensor_choice(args: argparse.Namespace, settings: Settings) -> SensorChoice:
    """What options and settings say of the sensor. Raises CertificateError, ArgumentError or UnitError."""
    return SensorChoice(date.today(), args.u, settings.u, chosen_certificate(args.certificate))


def job_info(args: argparse.Namespace, settings: Settings) -> TraceInfo:
    """What the options say is on the bench."""
    return TraceInfo(
        job=args.job,
        customer=args.customer,
        unit=args.unit_id,
        series=args.series,
        phase=args.phase,
        who=args.who or settings.who,
        software=software(),
        **stated_info(args),
    )


def todays_folder() -> Path:
    """Where pulls go that nobody gave a folder for: none is ever lost for want of an option."""
    return Path.home() / "platepull" / f"{datetime.now():%Y-%m-%d}"
