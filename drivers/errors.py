"""What can go wrong on the way from the port to a sample, for a person to mend."""

from analysis.errors import BenchError


class LineLostError(BenchError):
    """The line could not be opened, or went away and did not come back within the profile's patience."""


class ProfileError(BenchError):
    """A device profile that cannot be used; names the file, the key and what is expected."""


class BacklogError(BenchError):
    """Samples came faster than they were taken; what was dropped is counted."""
