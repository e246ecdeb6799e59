"""Holding a file: other programs can tell whether the one that writes it still lives, however it ended."""

from __future__ import annotations

import os
import sys
from pathlib import Path

if sys.platform == "win32":
    import msvcrt

    _FAR = 1 << 40  # a byte that no file of ours reaches: a locked byte cannot be read there

    def hold(descriptor: int) -> bool:
        """Hold an open file until it is closed or the program ends. False: another one holds it, or this disk knows no locks."""
        here = os.lseek(descriptor, 0, os.SEEK_CUR)
        try:
            os.lseek(descriptor, _FAR, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        finally:
            os.lseek(descriptor, here, os.SEEK_SET)
        return True
else:
    import fcntl

    def hold(descriptor: int) -> bool:
        """Hold an open file until it is closed or the program ends. False: another one holds it, or this disk knows no locks."""
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True


def is_held(path: Path) -> bool:
    """Whether a living program holds the file; also where that cannot be found out. A file that is not there is not held."""
    try:
        descriptor = os.open(path, os.O_RDWR)
    except FileNotFoundError:
        return False
    except OSError:
        return True
    try:
        return not hold(descriptor)
    finally:
        os.close(descriptor)


def same_file(descriptor: int, path: Path) -> bool:
    """Whether what is open still stands under that name (same device, same inode). Raises OSError where that cannot be seen."""
    try:
        there = os.stat(path)
    except (FileNotFoundError, NotADirectoryError):
        return False
    here = os.fstat(descriptor)
    return (here.st_dev, here.st_ino) == (there.st_dev, there.st_ino)
