# PYTHON_ARGCOMPLETE_OK
"""The command line: finds the verb, runs it, and turns a BenchError into one line and an exit status.

Exit status: 0 done, 2 an argument or a file is off, 3 line or database could not be opened or went away for good, 4 refused, with
the reasons, 130 stopped by Ctrl-C.
"""

from __future__ import annotations

import argparse
import contextlib
import difflib
import importlib
import io
import os
import pkgutil
import platform
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import NoReturn, Protocol, cast

from analysis.errors import LONGEST_SENTENCE, BenchError
from rig.words.outlet import plain, plain_outlets

USAGE_STATUS = 2
LINE_STATUS = 3
REFUSED_STATUS = 4
STOPPED_STATUS = 130


class Verb(Protocol):
    """What a module in `rig.commands` offers."""

    NAME: str
    HELP: str
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


_CHOICE = re.compile(r"argument (?P<of>.+): invalid choice: '(?P<typed>.*)' \(choose from (?P<known>.*)\)", re.DOTALL)
"""How argparse refuses a word that is none of its choices; Python 3.12 no longer puts those in quotes."""
NEAR = 0.5  # of difflib's likeness: 'anal' and 'first' still find 'analyse' and 'first_pull'


def _nearest(message: str) -> str:
    """A refused word with the one that was probably meant, in place of a list of all."""
    found = _CHOICE.fullmatch(message)
    if found is None:
        return message
    known = [word.strip(" '") for word in found["known"].split(",")]
    near = difflib.get_close_matches(found["typed"], known, 1, NEAR)
    return f"argument {found['of']}: '{found['typed']}' is none; did you mean '{near[0]}'?" if near else message


class _Parser(argparse.ArgumentParser):
    """A parser whose complaint is one line."""

    def error(self, message: str) -> NoReturn:
        message = _nearest(message)
        self.exit(USAGE_STATUS, f"{self.prog}: {plain(message)[:LONGEST_SENTENCE]}; see '{self.prog} --help'\n")


def verb_names() -> list[str]:
    """Names of all verbs there are."""
    package = importlib.import_module("rig.commands")
    return sorted(module.name for module in pkgutil.iter_modules(package.__path__) if not module.name.startswith("_"))


def _verb(name: str) -> Verb:
    return cast(Verb, importlib.import_module(f"rig.commands.{name}"))


def parser_for(argv: Sequence[str]) -> argparse.ArgumentParser:
    """The parser that reads `argv`; only the verb that is named there is imported, all of them for the general help."""
    parser = _Parser(
        prog="platepull",
        description="Logs and judges hand pulls on plated limited-slip differentials.",
        epilog="It advises; it approves nothing. The maker's manual, local rules and qualified persons decide.",
    )
    parser.add_argument("--version", action="store_true", help="print the version and end")
    verbs = parser.add_subparsers(dest="verb", metavar="VERB", parser_class=_Parser)
    names = verb_names()
    named = next((word for word in argv if not word.startswith("-")), None)
    for verb in map(_verb, [named] if named in names else names):
        own = verbs.add_parser(verb.NAME, help=verb.HELP, description=verb.HELP)
        if named == verb.NAME:
            verb.add_arguments(own)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit status. Never lets a BenchError through."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a console of few letters shows what it can instead of failing on a file's name
            stream.reconfigure(errors="backslashreplace")
    words = list(sys.argv[1:] if argv is None else argv)
    if "_ARGCOMPLETE" in os.environ and argv is None:
        _complete()
    parser = parser_for(words)
    args = parser.parse_args(words)
    if args.version:
        from importlib.metadata import version

        print(f"platepull {version('platepull')}")
        return 0
    if args.verb is None:
        parser.print_help()
        return USAGE_STATUS
    with plain_outlets(), _logged(args.verb) if argv is None else contextlib.nullcontext():
        action = getattr(args, "action", None)
        who = " ".join(["platepull", args.verb, *([action] if isinstance(action, str) else [])])
        return _guarded(lambda: _verb(args.verb).run(args), who)


def _complete() -> None:
    """Answer the shell that asks how the line it has so far can go on (argcomplete's protocol); ends the process."""
    import argcomplete

    typed = os.environ.get("COMP_LINE", "")
    argcomplete.autocomplete(parser_for(typed.split()[1:]))


@contextlib.contextmanager
def _logged(verb: str) -> Iterator[None]:
    """Keep the log that a user can send; of what was typed only the verb goes in."""
    from importlib.metadata import version

    from rig.folders import users_data
    from rig.log import log_event, log_fault, start_log, stop_log

    start_log(users_data() / "log")
    log_event("begin", verb=verb, version=version("platepull"), python=platform.python_version(), system=platform.system())
    try:
        yield
    except Exception as fault:
        log_fault(fault)
        raise
    finally:
        log_event("end", verb=verb)
        stop_log()


def complain(error: BenchError, who: str) -> None:
    """Print an error as one line on standard error, and log it without names."""
    from rig.log import log_refusal

    log_refusal(error)
    print(f"{who}: {' '.join(str(error).split())}", file=sys.stderr)


def _guarded(run: Callable[[], int], who: str) -> int:
    from drivers.errors import LineLostError
    from rig.errors import BookUnreachableError, OutletError, RefusedError

    try:
        status = run()
        sys.stdout.flush()  # what cannot be written is told here, not by Python at its end
        return status
    except (LineLostError, BookUnreachableError) as error:
        complain(error, who)
        return LINE_STATUS
    except RefusedError as error:
        complain(error, who)
        print(*(f"  {line}" for line in error.lines), sep="\n", end="\n" if error.lines else "", file=sys.stderr)
        return REFUSED_STATUS
    except OutletError as error:
        complain(error, who)
        _leave_output()
        return USAGE_STATUS
    except BenchError as error:
        complain(error, who)
        return USAGE_STATUS
    except KeyboardInterrupt:
        return STOPPED_STATUS
    except BrokenPipeError:
        _leave_output()  # the reader of our output has gone (as in `| head`): nothing more to say
        return 0


def _leave_output() -> None:
    """Standard output takes no more, and Python must not say so again at exit."""
    with contextlib.suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
