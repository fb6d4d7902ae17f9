"""Print the spec's JSON Schema."""

from __future__ import annotations

import argparse
import json

NAME = "schema"
HELP = "print the spec's JSON Schema"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """None."""


def run(options: argparse.Namespace) -> int:
    """Always 0."""
    from bandgen.spec import schema

    print(json.dumps(schema(), indent=1))
    return 0
