"""What a technician can fix about a line or a profile.

BenchError
    LineLostError    the port could not be opened, or went away and did not come back within the profile's patience
    FileError        a file that cannot be opened or read
    WireFileError    a recording of the wire that cannot be read or written
    BacklogError     the program fell behind the line; samples would be lost
"""

from analysis.errors import BenchError


class LineLostError(BenchError):
    """The line could not be opened, or went away and did not come back in time."""


class FileError(BenchError):
    """A file that cannot be opened or read."""


class WireFileError(BenchError):
    """A recording of the wire that cannot be read or written."""


class BacklogError(BenchError):
    """Pieces arrive faster than they are taken away."""
