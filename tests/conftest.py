"""Shared fixtures."""

from pathlib import Path

import pytest
from hypothesis import settings

import bandgen
from bandgen.spec import make_spec

# The same examples in every run: what lands is what was tested. Searching on is scripts/stability's work.
settings.register_profile("fixed", derandomize=True, database=None)
settings.load_profile("fixed")

SAMPLES = sorted((Path(__file__).parent.parent / "samples").glob("*.toml"))
SMALL = {"name": "Small", "finger": {"inner_diameter_mm": 16.0}, "stones": {"diameter_mm": 3.0}}


@pytest.fixture(scope="session")
def small_band():
    """A band of few stones."""
    return bandgen.generate(make_spec(SMALL))


@pytest.fixture
def spec_file(tmp_path):
    """A spec on disk."""
    path = tmp_path / "small.toml"
    path.write_text("[finger]\ninner_diameter_mm = 16.0\n\n[stones]\ndiameter_mm = 3.0\n")
    return path
