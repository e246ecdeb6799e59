"""The one root of all errors that a person can act on.

BenchError
    drivers.errors.LineLostError, ProfileError, BacklogError
    rig.files.trace_csv.TraceFileError ...
"""


class BenchError(Exception):
    """Something a technician can mend: what is wrong, where, and what to do about it.

    `str()` gives one line: "where: what; mend". Mistakes of ours (a wrong shape, a missing argument) are `ValueError`, not this.
    """

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        self.what = what
        self.where = where
        self.mend = mend
        head = f"{where}: {what}" if where else what
        super().__init__(f"{head}; {mend}" if mend else head)


class UnitError(BenchError):
    """A unit or a quantity with a unit that could not be read."""
