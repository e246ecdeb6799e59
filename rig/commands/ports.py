"""`platepull ports`: what is plugged in."""

from __future__ import annotations

import argparse

from rig.words.language import say

NAME = "ports"
HELP = "list the serial ports that are plugged in"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Nothing to add: the verb has no arguments."""


def run(args: argparse.Namespace) -> int:
    """Print a line a port; say so if there is none."""
    from drivers.line import list_ports

    ports = list_ports()
    if not ports:
        print(say("No serial port is plugged in. Plug the sensor in, then try again; without one: platepull emulate"))
    for info in ports:
        print(f"{info.port}  {info.what}".rstrip())
    return 0
