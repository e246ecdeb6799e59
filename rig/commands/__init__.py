"""The verbs of the command line, a module each.

A verb's module offers `NAME`, `HELP`, `add_arguments(parser)` and `run(args) -> int` (the exit status). It imports what is
heavy (numpy, scipy, Qt) inside `run`, so that `platepull --help` stays quick.
"""
