"""Random specs over the whole spec space: each is refused at the door, or gives a band that passes every check.

The quick share of ``scripts/stability``. Seeds are fixed: a failure's message holds the spec to reproduce it.
"""

from __future__ import annotations

from functools import cache

import pytest
from random_specs import CHOICES, KEY_SHARE, KEYS, RANGES, Data, get, judge, random_spec

from bandgen.errors import SpecError
from bandgen.layout.compute import compute_layout
from bandgen.spec import make_spec

MESH_SEEDS = 60
MANY = 400


@cache
def spec_of(seed: int) -> Data:
    return random_spec(seed)


@cache
def stone_count(seed: int) -> int:
    """How many stones the seed's band has, 0 where it is refused."""
    try:
        return len(compute_layout(make_spec(spec_of(seed))).stations)
    except SpecError:
        return 0


def exact_seeds(count: int) -> list[int]:
    """The seeds of the smallest bands: the exact engine takes seconds on each, and more with more stones."""
    accepted = [seed for seed in range(MESH_SEEDS) if stone_count(seed)]
    return sorted(accepted, key=stone_count)[:count]


@pytest.mark.parametrize("seed", range(MESH_SEEDS))
def test_refused_or_sound_by_the_mesh_engine(seed):
    verdict = judge(spec_of(seed))
    assert verdict.tag in ("OK", "REFUSED"), f"{verdict.tag}: {verdict.message}"


@pytest.mark.parametrize("index", range(3))
def test_sound_by_both_engines_and_in_every_format(index):
    verdict = judge(spec_of(exact_seeds(3)[index]), exact=True)
    assert verdict.tag == "OK", f"{verdict.tag}: {verdict.message}"


def test_at_least_half_of_the_specs_are_accepted():
    accepted = sum(stone_count(seed) > 0 for seed in range(MANY))
    assert accepted >= MANY / 2, f"{accepted} of {MANY}"


def test_every_key_is_drawn_and_every_optional_one_left_out():
    """Each key of an even full circle turns up in a share of the draws that a fair coin could give: 4 sigma at 400
    draws is 0.1; keys that exclude one another, or that only event-hugging fills in, shift it by as much again."""
    required = {"stones.diameter_mm", "finger.size", "finger.inner_diameter_mm"}
    for key in [key for key in KEYS if "." in key and key not in required]:
        share = sum(get(spec_of(seed), key) is not None for seed in range(MANY)) / MANY
        assert abs(share - KEY_SHARE) < 0.2, f"{key} in {share:.0%} of the draws"


def test_both_ends_of_every_range_are_met():
    """Draws that hug a bound meet the ends of each key's range within a thousandth of it; a few may wait for more
    seeds than these."""
    met = {key: [False, False] for key in RANGES}
    for seed in range(MANY):
        for key, (low, high) in RANGES.items():
            value = get(spec_of(seed), key)
            if isinstance(value, float | int):
                met[key][0] |= abs(value - low) <= 1e-3 * (high - low)
                met[key][1] |= abs(value - high) <= 1e-3 * (high - low)
    missed = [key for key, ends in met.items() if not all(ends)]
    assert len(missed) <= len(met) // 5, missed


def test_every_choice_is_drawn():
    for key, words in CHOICES.items():
        assert {get(spec_of(seed), key) for seed in range(MANY)} >= set(words), key


def test_a_seed_is_one_spec():
    assert random_spec(7) == random_spec(7)
    assert random_spec(7) != random_spec(8)
