"""The one root of all errors that a person can act on.

BenchError
    drivers.errors.LineLostError, ProfileError, BacklogError
    rig.files.trace_csv.TraceFileError ...
"""


class BenchError(Exception):
    """Something a technician can fix: what is wrong, where, and what to do about it.

    `str()` gives one line: "where: what; fix". Mistakes of ours (a wrong shape, a missing argument) are `ValueError`, not this.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        head = f"{where}: {what}" if where else what
        super().__init__(f"{head}; {remedy}" if remedy else head)


class UnitError(BenchError):
    """A unit or a quantity with a unit that could not be read."""
