"""Random arrangements: each is refused at the door, or gives a band that passes every check.

The quick share of ``scripts/stability``, like ``test_property``, for bands other than the even full circle.
"""

from __future__ import annotations

from collections import Counter
from functools import cache

import pytest
from random_arrangements import labels, random_band
from random_specs import LEFT_OUT, Data, get, judge

from bandgen.errors import SpecError
from bandgen.layout.compute import compute_layout
from bandgen.spec import make_spec, spec_keys

SEEDS = range(1, 121, 2)
MANY = range(1, 401, 2)


@cache
def spec_of(seed: int) -> Data:
    return random_band(seed)


@cache
def stone_count(seed: int) -> int:
    """How many stones the seed's band has, 0 where it is refused."""
    try:
        return len(compute_layout(make_spec(spec_of(seed))).stations)
    except SpecError:
        return 0


@pytest.mark.parametrize("seed", SEEDS)
def test_refused_or_sound_by_the_mesh_engine(seed: int) -> None:
    verdict = judge(spec_of(seed))
    assert verdict.tag in ("OK", "REFUSED"), f"{verdict.tag}: {verdict.message}"


@pytest.mark.parametrize("index", range(2))
def test_sound_by_both_engines_and_in_every_format(index: int) -> None:
    """The smallest bands: the exact engine takes a third of a second for each different cell."""
    accepted = sorted((seed for seed in SEEDS if stone_count(seed)), key=stone_count)
    verdict = judge(spec_of(accepted[index]), exact=True)
    assert verdict.tag == "OK", f"{verdict.tag}: {verdict.message}"


def test_at_least_half_of_the_specs_are_accepted() -> None:
    accepted = sum(stone_count(seed) > 0 for seed in MANY)
    assert accepted >= len(MANY) / 2, f"{accepted} of {len(MANY)}"


def test_every_key_of_the_tables_is_drawn() -> None:
    keys = [key for key in spec_keys() if key.partition(".")[0] in LEFT_OUT and "." in key]
    assert [key for key in keys if all(get(spec_of(seed), key) is None for seed in MANY)] == []


def test_every_kind_is_drawn_and_made() -> None:
    drawn = Counter(kind for seed in MANY for kind in labels(spec_of(seed)))
    made = Counter(kind for seed in MANY if stone_count(seed) for kind in labels(spec_of(seed)))
    assert min(drawn.values()) >= 3, drawn
    assert {kind for kind, count in made.items() if count} == set(drawn)
