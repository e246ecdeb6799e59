"""SensorChoice: what options, settings and profile say of the torque sensor; which of it counts is decided here and nowhere else.

Order: `--u`; the certificate (`--certificate`, the profile's or the trace's own); what profile or trace states; the settings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from analysis.results import Sensor
from analysis.stated import StatedUncertainty, parse_uncertainty
from drivers.profile import DeviceProfile
from rig.files.certificate import Certificate, read_certificate
from rig.files.metadata import TraceInfo, Transducer


@dataclass(frozen=True, slots=True)
class SensorChoice:
    """What was chosen for this run; `u` and `usual_u` are texts such as '0.5 %'. Raises StatedError."""

    today: date
    u: str | None = None
    usual_u: str | None = None
    certificate: Certificate | None = None

    def __post_init__(self) -> None:
        for text in (self.u, self.usual_u):
            if text is not None:
                parse_uncertainty(text)

    def of(self, info: TraceInfo) -> Sensor:
        """The sensor of a trace whose metadata is `info`."""
        return self._with_u(info if self.certificate is None else info.with_certificate(self.certificate))

    def stated(self, info: TraceInfo) -> StatedUncertainty | None:
        """The uncertainty of option or settings, where it is the one that counts of a trace whose metadata is `info`."""
        if self.u is not None:
            return parse_uncertainty(self.u)
        sensor = (info if self.certificate is None else info.with_certificate(self.certificate)).sensor(self.today)
        certified = sensor.calibration is not None and sensor.calibration.corrects
        known = certified or sensor.u_nm is not None or sensor.u_relative is not None
        return None if known or self.usual_u is None else parse_uncertainty(self.usual_u)

    def stated_of_line(self, profile: DeviceProfile) -> StatedUncertainty | None:
        """The uncertainty of option, profile or settings, where it is the one that counts on a line; None under a certificate."""
        if self.u is None and (self.certificate is not None or profile.certificate is not None):
            return None
        text = self.u or profile.u_text or self.usual_u
        return None if text is None else parse_uncertainty(text)

    def _with_u(self, info: TraceInfo) -> Sensor:
        return sensor_with_u(info.sensor(self.today), self.stated(info))

    def of_line(self, profile: DeviceProfile, info: TraceInfo) -> tuple[Sensor, TraceInfo]:
        """The sensor of a line, and `info` with what its recordings are to say of it. Raises CertificateError."""
        certificate = self.certificate
        if certificate is None and profile.certificate is not None:
            certificate = read_certificate(Path(profile.certificate))
        stated = Transducer(
            name=profile.name,
            capacity_nm=profile.capacity_nm,
            u_nm=profile.u_nm,
            u_relative=profile.u_relative,
            resolution_nm=profile.resolution_nm,
            filter_hz=profile.filter_hz,
        )
        info = replace(info, device=profile.name, transducer=stated, offset_adapter=profile.adapter)
        if certificate is not None:
            info = info.with_certificate(certificate)
        sensor = self._with_u(info)
        return sensor, replace(info, transducer=replace(info.transducer, u_nm=sensor.u_nm, u_relative=sensor.u_relative))


def chosen_certificate(path: str | None) -> Certificate | None:
    """The certificate of `--certificate`; None where none was named. Raises CertificateError."""
    return None if path is None else read_certificate(Path(path))


def sensor_with_u(sensor: Sensor, stated: StatedUncertainty | None) -> Sensor:
    """The sensor with the uncertainty that was stated in place of its own; None leaves it.

    Raises StatedError where a share of the range was stated and the range is not known.
    """
    if stated is None:
        return sensor
    u_nm = stated.u_nm(sensor.capacity_nm)
    return replace(sensor, u_nm=u_nm, u_relative=stated.u_relative, degrees_of_freedom=None)
