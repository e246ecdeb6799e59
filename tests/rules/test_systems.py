"""Nothing that only one family of systems has is imported without a way round, so that the program starts on all of them."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
UNIX_ONLY = {
    "crypt",
    "curses",
    "fcntl",
    "grp",
    "nis",
    "posix",
    "pty",
    "pwd",
    "readline",
    "resource",
    "spwd",
    "syslog",
    "termios",
    "tty",
}
WINDOWS_ONLY = {"msvcrt", "winreg", "winsound", "_winapi"}
UNIX_CALLS = {
    "os": {"fork", "forkpty", "getuid", "geteuid", "getgid", "getloadavg", "kill", "killpg", "mkfifo", "nice", "openpty", "setsid"}
    | {"setpgid", "statvfs", "sync", "uname", "wait", "waitpid", "chown", "fchmod", "lockf", "posix_fadvise", "sched_setaffinity"},
    "signal": {"SIGALRM", "SIGHUP", "SIGKILL", "SIGUSR1", "alarm", "setitimer", "pause", "sigwait"},
    "socket": {"AF_UNIX"},
    "select": {"poll", "epoll"},
}
PSEUDO_TERMINAL = {"drivers/outlets.py"}
"""Where the simulated bench has its pseudo-terminal; elsewhere it takes a socket."""


def modules():
    for room in ("analysis", "drivers", "rig"):
        for path in sorted((ROOT / room).rglob("*.py")):
            yield path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")


def one_family(source):
    """Names of one family of systems that the source uses without asking first: no try, no look at the system around them."""
    found = []

    def look(node, guarded):
        asks = isinstance(node, ast.Try) and any("ImportError" in ast.unparse(each.type or node) for each in node.handlers)
        asks |= isinstance(node, ast.If | ast.IfExp) and any(
            word in ast.unparse(node.test) for word in ("platform", "os.name", "hasattr")
        )
        guarded = guarded or asks
        names = []
        if isinstance(node, ast.Import):
            names = [each.name.split(".")[0] for each in node.names]
        elif isinstance(node, ast.ImportFrom) and not node.level:
            names = [(node.module or "").split(".")[0]]
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            names = [f"{node.value.id}.{node.attr}"] if node.attr in UNIX_CALLS.get(node.value.id, ()) else []
        if not guarded:
            found.extend(name for name in names if "." in name or name in UNIX_ONLY | WINDOWS_ONLY)
        for child in ast.iter_child_nodes(node):
            look(child, guarded)

    look(ast.parse(source), False)
    return found


def test_the_look_finds_what_it_should():
    assert one_family("import fcntl") == ["fcntl"]
    assert one_family("from pwd import getpwnam") == ["pwd"]
    assert one_family("import os\ndef f():\n    return os.fork()") == ["os.fork"]
    assert one_family("try:\n    import termios\nexcept ImportError:\n    termios = None") == []
    assert one_family("import sys\nif sys.platform == 'win32':\n    import msvcrt\nelse:\n    import fcntl") == []
    assert one_family("from os import path") == []


def test_nothing_of_one_family_of_systems_stands_outside_the_pseudo_terminal():
    found = {where: names for where, text in modules() if where not in PSEUDO_TERMINAL and (names := one_family(text))}
    assert not found
