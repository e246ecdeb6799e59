"""A graceful end: Ctrl-C and the signals of the system that ask for one."""

from __future__ import annotations

import _thread
import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType


def setting(event: threading.Event) -> Callable[[int, FrameType | None], None]:
    """A signal's handler that sets the event in a thread of its own.

    A handler runs in the middle of what the main thread does: had that just taken the event's lock to wait, setting it there would
    wait for good.
    """

    def handler(signal_number: int, frame: FrameType | None) -> None:
        _thread.start_new_thread(event.set, ())

    return handler


@contextlib.contextmanager
def asked_to_end() -> Iterator[Callable[[], bool]]:
    """Within the block Ctrl-C or a plea of the system to end sets what the given function answers, instead of breaking off."""
    plea = threading.Event()
    names = [name for name in ("SIGINT", "SIGTERM", "SIGBREAK", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), setting(plea)) for name in names}
    try:
        yield plea.is_set
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)
