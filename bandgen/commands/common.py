"""What commands share: values on the command line, refusals named after their file, progress, encodings."""

from __future__ import annotations

import argparse
import sys
import threading
import tomllib
from typing import TYPE_CHECKING, Any

from bandgen.errors import Problem, SpecError

if TYPE_CHECKING:
    from bandgen.pipeline import Band
    from bandgen.spec import Spec

MEASURED_ON_MM = 0.01
"""A mesh that is coarser is made again at half of this to measure thickness on."""


def complain(text: object) -> None:
    """To standard error, whatever its encoding can hold."""
    encoding = sys.stderr.encoding or "ascii"
    print(str(text).encode(encoding, "backslashreplace").decode(encoding), file=sys.stderr)


def add_spec(parser: argparse.ArgumentParser) -> None:
    """A spec's file, and values that replace its own."""
    parser.add_argument("spec", metavar="SPEC.toml")
    parser.add_argument(
        "--set", action="append", default=[], metavar="table.key=value", help="replace a value of the spec"
    )


def read_spec(options: argparse.Namespace) -> Spec:
    """The spec that :func:`add_spec` asked for."""
    changes = dict(change(text) for text in options.set)
    from bandgen.spec import load_spec

    return load_spec(options.spec, changes)


def with_source(compute: Any, spec: Any, source: str) -> Any:
    """What a computation makes of the spec, its refusals named after the file."""
    try:
        return compute(spec)
    except SpecError as error:
        raise SpecError(list(error.problems), source) from None


def measurable(band: Band, spec: Spec) -> Band:
    """The band, meshed anew where its facets would pass for walls."""
    from bandgen.pipeline import generate

    if spec.mesh.deviation_mm <= MEASURED_ON_MM:
        return band
    mesh = spec.mesh.model_copy(update={"deviation_mm": MEASURED_ON_MM / 2.0})
    return generate(spec.model_copy(update={"mesh": mesh}))


def tolerate(stream: Any) -> None:
    """Letters that the terminal's encoding lacks are escaped, not fatal."""
    if hasattr(stream, "reconfigure"):
        stream.reconfigure(errors="backslashreplace")


def change(text: str) -> tuple[str, Any]:
    """``table.key=value``; the value as TOML, or else as the text it is."""
    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        raise SpecError([Problem("--set", "must read table.key=value", text)], "command line")
    try:
        return key.strip(), tomllib.loads(f"value = {value}")["value"]
    except tomllib.TOMLDecodeError:
        return key.strip(), value.strip()
    except (ValueError, RecursionError) as cause:  # digits or brackets beyond reason
        raise SpecError([Problem("--set", f"must hold a plain value ({cause})", key)], "command line") from None


class Progress:
    """Tells of every stage that lasts, once it has lasted two thirds of a second."""

    def __init__(self, quiet: bool) -> None:
        self._quiet = quiet
        self._timer: threading.Timer | None = None

    def __call__(self, stage: str) -> None:
        """A stage begins."""
        self.close()
        if not self._quiet:
            self._timer = threading.Timer(0.67, complain, (f"{stage} ...",))
            self._timer.daemon = True
            self._timer.start()

    def close(self) -> None:
        """The stage has ended."""
        if self._timer is not None:
            self._timer.cancel()
