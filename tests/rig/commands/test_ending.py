"""What ends a verb from outside."""

import signal
import threading

from rig.commands._ending import asked_to_end, setting


def test_a_signal_in_the_middle_of_waiting_does_not_wait_for_itself():
    """The main thread holds the event's own lock when the signal comes, as it does while it begins or ends to wait."""
    event = threading.Event()
    with event._cond:  # the lock that a wait takes
        setting(event)(signal.SIGTERM, None)
        assert not event.is_set()
    assert event.wait(30)


def test_a_plea_to_end_is_heard_and_the_handlers_are_put_back():
    before = signal.getsignal(signal.SIGTERM)
    with asked_to_end() as asked:
        assert not asked()
        signal.raise_signal(signal.SIGTERM)
        until = threading.Event()
        for _ in range(3000):
            if asked():
                break
            until.wait(0.01)
        assert asked()
    assert signal.getsignal(signal.SIGTERM) is before
