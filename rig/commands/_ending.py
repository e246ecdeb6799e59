"""A graceful end: Ctrl-C and the signals of the system that ask for one."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator


@contextlib.contextmanager
def asked_to_end() -> Iterator[Callable[[], bool]]:
    """Within the block Ctrl-C or a plea of the system to end sets what the given function answers, instead of breaking off."""
    plea = threading.Event()
    names = [name for name in ("SIGINT", "SIGTERM", "SIGBREAK", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), lambda *_: plea.set()) for name in names}
    try:
        yield plea.is_set
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)
