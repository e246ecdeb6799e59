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
import itertools
import os
import pkgutil
import platform
import re
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, NoReturn, Protocol, cast

from analysis.errors import LONGEST_SENTENCE, BenchError
from rig.words.language import LANGUAGES, say, speak, speaking
from rig.words.outlet import plain, plain_outlets
from rig.words.retold import fault_text, retold

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
LANGUAGE_OPTION = "--language"
NEAR_OPTION = 0.6  # of difflib's likeness: '--unti', '--spec-card' find '--unit', '--spec'
NEAR = 0.5  # of difflib's likeness: 'anal' and 'first' still find 'analyse' and 'first_pull'


def _nearest(message: str) -> str:
    """A refused word with the one that was probably meant, in place of a list of all."""
    found = _CHOICE.fullmatch(message)
    if found is None:
        return message
    known = [word.strip(" '") for word in found["known"].split(",")]
    near = difflib.get_close_matches(found["typed"], known, 1, NEAR)
    return f"argument {found['of']}: '{found['typed']}' is none; did you mean '{near[0]}'?" if near else message


class _Help(argparse.HelpFormatter):
    """Help in the user's language: its texts stand in English in the code and are told here."""

    def add_usage(self, usage: str | None, actions: Any, groups: Any, prefix: str | None = None) -> None:
        """The usage, under its word."""
        super().add_usage(usage, actions, groups, say("usage: ") if prefix is None else prefix)

    def start_section(self, heading: str | None) -> None:
        """A group of arguments, under its heading."""
        super().start_section(heading and retold(heading))

    def add_text(self, text: str | None) -> None:
        """A description or an epilog."""
        super().add_text(text and retold(text))

    def _get_help_string(self, action: argparse.Action) -> str | None:
        return action.help and retold(action.help)

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        """A list stays one: only a text of one line is wrapped."""
        return (
            "".join(f"{indent}{line}\n" for line in text.splitlines()) if "\n" in text else super()._fill_text(text, width, indent)
        )


class _Parser(argparse.ArgumentParser):
    """A parser whose complaint is one line in the user's language, and that takes an option only by its whole name."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(allow_abbrev=False, formatter_class=_Help, **kwargs)
        self.add_argument(
            LANGUAGE_OPTION,
            choices=LANGUAGES,
            default=argparse.SUPPRESS,
            help="language spoken, en or de (or 'language' in the settings; else the system's); JSON and files stay as they are",
        )

    def parse_known_args(  # type: ignore[override]
        self, args: Sequence[str] | None = None, namespace: argparse.Namespace | None = None
    ) -> tuple[argparse.Namespace, list[str]]:
        """Nothing is left over: what is not known is refused by the parser that met it, with the option that was meant."""
        words = list(sys.argv[1:] if args is None else args)
        if not any(isinstance(action, argparse._SubParsersAction) for action in self._actions):
            self._refuse_unknown(words)  # before anything is said to be missing
        found, left = super().parse_known_args(words, namespace)
        if left:
            self._refuse_unknown(left)
            self.error(f"unrecognized arguments: {' '.join(left)}")
        return found, left

    def _refuse_unknown(self, words: Sequence[str]) -> None:
        options = sorted({name for action in self._actions for name in action.option_strings})
        for word in itertools.takewhile(lambda word: word != "--", words):
            typed = word.split("=")[0]
            if typed.startswith("--") and typed not in options:
                near = difflib.get_close_matches(typed, options, 1, NEAR_OPTION)
                self.error(f"there is no option {typed}" + (f"; did you mean {near[0]}?" if near else ""))

    def error(self, message: str) -> NoReturn:
        message = plain(retold(_nearest(message)))[:LONGEST_SENTENCE]
        self.exit(USAGE_STATUS, say("{who}: {what}; see '{who} --help'", who=self.prog, what=message) + "\n")


def language_of(words: Sequence[str], environ: Mapping[str, str]) -> str:
    """The language to speak: of the option, else of the settings, else of the system (gettext's four variables), else English.

    A word that is no language is refused where the option is read, settings that cannot be read by the verb that wants them.
    """
    for at, word in enumerate(words):
        name, _, typed = word.partition("=")
        if name == LANGUAGE_OPTION:
            typed = typed or next(iter(words[at + 1 :]), "")
            return typed if typed in LANGUAGES else "en"
    from rig.folders import users_config

    if (users_config() / "settings.toml").exists():
        from rig.settings import load_settings

        with contextlib.suppress(BenchError):
            chosen = load_settings().language
            if chosen is not None:
                return chosen
    # The first that is set decides; LANGUAGE may list several. "C" and what is not spoken here are English.
    system = next((value for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG") if (value := environ.get(name))), "")
    return next((code for each in system.split(":") if (code := re.split("[_.@]", each)[0].lower()) in LANGUAGES), "en")


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
    after_option = {at + 1 for at, word in enumerate(argv) if word == LANGUAGE_OPTION}
    named = next((word for at, word in enumerate(argv) if not word.startswith("-") and at not in after_option), None)
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
    language = language_of(words, os.environ)
    speak(language)
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
        args.language_asked = getattr(args, "language", None)
        args.language = language
        return _guarded(lambda: _run(args), who)


def _run(args: argparse.Namespace) -> int:
    """Do what the verb does. What is written for programs is English; only faults are told in the user's language then."""
    with speaking("en") if getattr(args, "json", False) else contextlib.nullcontext():
        return _verb(args.verb).run(args)


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
    print(f"{who}: {' '.join(fault_text(error).split())}", file=sys.stderr)


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
