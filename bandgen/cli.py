"""The command line: arguments, exit codes, progress. No decisions.

Exit codes: 0 good; 1 computed, but a check of severity "error" failed; 2 bad spec, file or usage; 3 kernel or I/O.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from types import ModuleType

from bandgen.commands import (
    calibrate,
    check,
    explain,
    fit,
    inspect,
    make,
    margins,
    schema,
    set_stones,
    sizes,
    stones,
    tolerance,
    weigh,
)
from bandgen.commands.common import complain
from bandgen.errors import BandgenError

COMMANDS: tuple[ModuleType, ...] = (
    make,
    check,
    inspect,
    fit,
    schema,
    sizes,
    stones,
    weigh,
    tolerance,
    calibrate,
    set_stones,
    explain,
    margins,
)
"""In the order of the help. A new command is one module and its place here."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code."""
    options = _parser().parse_args(arguments)
    try:
        code = int(options.run(options))
        sys.stdout.flush()
        return code
    except BandgenError as error:
        complain(error)
        return error.exit_code
    except BrokenPipeError:  # the reader of the table has gone; the files are written
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 3
    except OSError as error:
        complain(f"cannot write the output: {error}")
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 3
    except KeyboardInterrupt:
        complain("interrupted")
        return 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="bandgen", description="From a short spec to a gem-set eternity band.")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for module in COMMANDS:
        command = commands.add_parser(module.NAME, help=module.HELP)
        module.add_arguments(command)
        command.set_defaults(run=module.run)
    return parser
