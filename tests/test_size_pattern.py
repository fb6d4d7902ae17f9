"""The schema's pattern of finger sizes and the reader accept the same texts."""

import itertools
import re

import pytest

from bandgen.trade.sizes import SYSTEMS, all_sizes, pattern, read_size

PREFIXES = ["ISO", "iso ", "UK", "uk ", "AU ", "US ", "usa", "JP ", "JCS ", "CH", "IT ", "es ", "DE ", "FR ", "", "X "]
NUMBERS = [
    "0",
    "1",
    "6",
    "6.25",
    "6,5",
    "6.3",
    "6 1/4",
    "6½",
    "6 ¾",
    "1/2",
    "¼",
    "12",
    "16",
    "16.5",
    "17.25",
    "22.75",
    "30",
    "36.5",
    "40",
    "41",
    "54",
    "54.5",
    "76",
    "76.5",
    "77",
    "-6",
    "6.50",
    "6.0",
    "1e1",
]
LETTERS = ["A", "l", "L 1/2", "L1/2", "L½", "l.5", "Z", "Z+1", "Z + 6", "Z+6 1/2", "Z+7", "Z1/2", "AA", "L1/4", "Y+1"]


def reads(text):
    try:
        read_size(text)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize("prefix", PREFIXES)
def test_pattern_and_reader_agree(prefix):
    texts = [prefix + value for value in itertools.chain(NUMBERS, LETTERS)]
    assert {t for t in texts if re.search(pattern(), t)} == {t for t in texts if reads(t)}


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_size_matches(system):
    assert all(re.search(pattern(), size.label) for size in all_sizes(system))
