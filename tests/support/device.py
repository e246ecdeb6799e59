"""A device on a loopback socket that prints the torque that is on it, a line a sample, and can go away and come back."""

import contextlib
import socket
import socketserver
import threading
import time

import numpy as np

RATE_HZ = 200
"""Lines of `torque [N.m],counter`."""


class PrintingDevice(socketserver.ThreadingTCPServer):
    """Prints `offset_nm + gain * load_nm` with a little noise to whoever connects."""

    allow_reuse_address = daemon_threads = True

    def __init__(self, gain, offset_nm, port):
        self.gain, self.offset_nm, self.load_nm, self.over = gain, offset_nm, 0.0, threading.Event()
        super().__init__(("127.0.0.1", port), _Printing)

    @property
    def port(self):
        return self.server_address[1]


class _Printing(socketserver.BaseRequestHandler):
    def handle(self):
        device, draws, count, began = self.server, np.random.default_rng(1), 0, time.monotonic()
        while not device.over.wait(0.01):
            due = int(RATE_HZ * (time.monotonic() - began))
            shown = [device.offset_nm + device.gain * device.load_nm + draws.normal(0, 0.02) for _ in range(due - count)]
            lines = "".join(f"{torque:.3f},{number}\r\n" for number, torque in enumerate(shown, start=count))
            count = due
            try:
                self.request.sendall(lines.encode())
            except OSError:
                return


@contextlib.contextmanager
def printing_device(gain=1.0, offset_nm=0.0, port=0):
    """A device for as long as the block lasts; `port` 0: a free one."""
    with PrintingDevice(gain, offset_nm, port) as device:
        thread = threading.Thread(target=device.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        thread.start()
        try:
            yield device
        finally:
            device.over.set()
            device.shutdown()
            thread.join()


def free_port():
    """A port of this computer on which nothing listens now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]
