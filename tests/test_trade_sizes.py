"""Finger sizes: readings against published charts, and everything that must be refused.

Sources beside the figures: GESS = gessweinsiam.com finger gauge; WP = Wikipedia "Ring size" mirrors; RIO = Rio Grande
"Measuring a ring blank"; PDF = "International ring size chart" (cdn.shopify.com, printableringsizer.pdf);
DICT = measurement.enacademic.com/2380/ring_size; JP = JCS table, jewelry-craft.online; DE-LEX = thejewellershop.com;
ZUZU = zuzujewellery.com/pages/ring-sizes; DBC = designbuildcast.co.uk, useful tips.
"""

import itertools
import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandgen.trade.sizes import SYSTEMS, all_sizes, file_label, read_size

ROUNDED_1 = 0.0501  # a chart that prints one decimal
ROUNDED_2 = 0.00501  # a chart that prints two
US_SCATTER = 0.1  # US charts were never standardised: NBS circular quoted in WP
UK_SCATTER = 0.12  # UK charts scatter by 0.2 (trade facts, section 1); 0.12 is under a half size's step of 0.199

DIAMETERS = [
    ("ISO 41", 13.0, 0.06, "GESS, gauge low end"),
    ("ISO 49", 15.6, ROUNDED_1, "WP"),
    ("ISO 52", 16.6, ROUNDED_1, "WP"),
    ("ISO 54", 17.2, ROUNDED_1, "WP"),
    ("ISO 60", 19.1, ROUNDED_1, "WP"),
    ("ISO 72", 22.9, ROUNDED_1, "WP"),
    ("ISO 76", 24.2, ROUNDED_1, "GESS, gauge high end"),
    ("US 0", 11.63, ROUNDED_2, "WP"),
    ("US 3", 14.07, ROUNDED_2, "WP"),
    ("US 4", 14.86, US_SCATTER, "RIO"),
    ("US 5", 15.70, ROUNDED_2, "RIO"),
    ("US 6", 16.51, ROUNDED_2, "RIO"),
    ("US 7", 17.32, ROUNDED_2, "PDF"),
    ("US 7", 17.35, US_SCATTER, "RIO"),
    ("US 8", 18.14, ROUNDED_2, "trade facts, section 1"),
    ("US 8", 18.19, US_SCATTER, "DICT"),
    ("US 9", 18.99, US_SCATTER, "RIO"),
    ("US 10", 19.84, US_SCATTER, "RIO"),
    ("US 12", 21.41, US_SCATTER, "RIO"),
    ("US 13", 22.20, ROUNDED_2, "PDF"),
    ("UK C", 12.85, UK_SCATTER, "WP"),
    ("UK I", 15.22, UK_SCATTER, "ZUZU"),
    ("UK J", 15.49, UK_SCATTER, "PDF"),
    ("UK M", 16.79, UK_SCATTER, "ZUZU"),
    ("UK N", 17.12, UK_SCATTER, "PDF"),
    ("UK N 1/2", 17.32, UK_SCATTER, "PDF"),
    ("UK T", 19.56, UK_SCATTER, "PDF"),
    ("UK T", 19.55, UK_SCATTER, "ZUZU"),
    ("UK Z", 21.79, UK_SCATTER, "PDF"),
    ("UK Z", 21.91, UK_SCATTER, "ZUZU"),
    ("JP 1", 13.0, 1e-9, "JP"),
    ("JP 10", 16.0, 1e-9, "JP"),
    ("JP 13", 17.0, 1e-9, "JP"),
    ("JP 20", 19.333, 0.0005, "JP"),
    ("DE 17.25", 17.25, 1e-12, "a diameter by definition: DE-LEX"),
    ("DE 12.5", 12.5, 1e-12, "range: DE-LEX"),
    ("DE 22.5", 22.5, 1e-12, "range: DE-LEX"),
]

CIRCUMFERENCES = [
    ("UK A", 37.5, 1e-9, "BS 6820 formula: DICT"),
    ("UK C", 40.0, 1e-9, "BS 6820 formula: DICT"),
    ("UK N", 53.75, 1e-9, "BS 6820 formula: DICT"),
    ("UK N", 53.8, ROUNDED_1, "WP"),
    ("UK N 1/2", 54.4, ROUNDED_1, "PDF"),
    ("UK Z", 68.75, 1e-9, "BS 6820 formula: DICT"),
    ("UK Z+6", 76.25, 1e-9, "the formula carried on; the end Z+6 from memory"),
    ("US 0", 36.5, ROUNDED_1, "WP"),
    ("US 3", 44.2, ROUNDED_1, "WP"),
    ("US 7", 54.4, ROUNDED_1, "PDF"),
    ("US 13", 69.7, ROUNDED_1, "PDF"),
    ("CH 14", 54.0, 1e-9, "rule circumference - 40: WP"),
    ("IT 14", 54.0, 1e-9, "rule circumference - 40: WP"),
    ("ES 14", 54.0, 1e-9, "rule circumference - 40: WP"),
    ("JP 13", 53.41, ROUNDED_2, "pi times 17, trade facts"),
]


@pytest.mark.parametrize(("text", "diameter", "tolerance", "source"), DIAMETERS)
def test_published_diameters(text: str, diameter: float, tolerance: float, source: str) -> None:
    """A size has the inside diameter that charts print for it."""
    assert read_size(text).inner_diameter_mm == pytest.approx(diameter, abs=tolerance), source


@pytest.mark.parametrize(("text", "circumference", "tolerance", "source"), CIRCUMFERENCES)
def test_published_circumferences(text: str, circumference: float, tolerance: float, source: str) -> None:
    """A size has the circumference that charts print for it."""
    assert read_size(text).circumference_mm == pytest.approx(circumference, abs=tolerance), source


def test_at_least_thirty_published_values_over_six_systems() -> None:
    """What the two lists hold, told apart by size and figure."""
    published = {(text, value) for text, value, *_ in DIAMETERS + CIRCUMFERENCES}
    assert len(published) >= 30
    assert {text.split()[0] for text, _ in published} == set(SYSTEMS)


@pytest.mark.parametrize(
    ("system", "charts"),
    [  # a rounded value of each chart that lies furthest off
        ("UK", {"UK N": 17.3, "UK C": 12.85, "UK I": 15.22, "UK Z": 21.79}),  # DBC, WP, ZUZU, PDF
        ("US", {"US 10": 19.84, "US 8": 18.19, "US 9": 18.99}),  # RIO, DICT, RIO
    ],
)
def test_charts_differ_by_what_is_said(system: str, charts: dict[str, float]) -> None:
    """The scatter covers every published chart, and one at least comes near it."""
    off = [abs(read_size(text).inner_diameter_mm - published) for text, published in charts.items()]
    assert 0.7 * SYSTEMS[system].scatter_mm < max(off) <= SYSTEMS[system].scatter_mm


@pytest.mark.parametrize(
    ("text", "diameter"),
    [("US 7", 17.323), ("UK N", 17.109), ("JP 13", 17.000), ("ISO 54", 17.189), ("CH 14", 17.189)],
)
def test_ready_made_numbers(text: str, diameter: float) -> None:
    """The trade facts' own check values (section 9), three decimals."""
    assert read_size(text).inner_diameter_mm == pytest.approx(diameter, abs=0.0006)


@pytest.mark.parametrize(
    ("text", "label", "name"),
    [
        ("iso54", "ISO 54", "ISO-54"),
        (" Iso  54,5 ", "ISO 54.5", "ISO-54.5"),
        ("US 6 1/4", "US 6.25", "US-6.25"),
        ("US 6¼", "US 6.25", "US-6.25"),
        ("US-6.25", "US 6.25", "US-6.25"),
        ("us 6.250", "US 6.25", "US-6.25"),
        ("US 3/4", "US 0.75", "US-0.75"),
        ("USA 7", "US 7", "US-7"),
        ("UK L 1/2", "UK L 1/2", "UK-L-half"),
        ("UK L½", "UK L 1/2", "UK-L-half"),
        ("UK L.5", "UK L 1/2", "UK-L-half"),
        ("ukl½", "UK L 1/2", "UK-L-half"),
        ("UKL.5", "UK L 1/2", "UK-L-half"),
        ("uk l", "UK L", "UK-L"),
        ("AU L", "UK L", "UK-L"),
        ("UK Z+2", "UK Z+2", "UK-Z-plus-2"),
        ("UKZ + 2", "UK Z+2", "UK-Z-plus-2"),
        ("UK Z+2 1/2", "UK Z+2 1/2", "UK-Z-plus-2-half"),
        ("UK Z 1/2", "UK Z 1/2", "UK-Z-half"),
        ("JCS 12", "JP 12", "JP-12"),
        ("CH 14.5", "CH 14.5", "CH-14.5"),
        ("DE 17,25", "DE 17.25", "DE-17.25"),
    ],
)
def test_ways_of_writing(text: str, label: str, name: str) -> None:
    """The usual spellings come out as one label and one file name."""
    size = read_size(text)
    assert (size.label, file_label(size)) == (label, name)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("17", ["names no system", "JP 17 (18.333 mm", "CH 17 (18.144 mm", "IT 17", "ES 17", "DE 17 (17.000 mm"]),
        ("7", ["US 7 (17.323 mm", "JP 7 (15.000 mm", "CH 7 (14.961 mm"]),
        ("6 1/4", ["US 6.25 (16.713 mm"]),
        ("54", ["ISO 54 (17.189 mm"]),
        ("L", ["names no system", "UK L (16.313 mm"]),
        ("l½", ["UK L 1/2 (16.512 mm"]),
        ("Z+2", ["UK Z+2 (22.680 mm"]),
        ("500", ["no system has it", "ISO, UK, US"]),
        ("", ["no system", "ISO, UK"]),
        ("½ L", ["no system"]),
        ("17.25 mm", ["no system"]),
        ("XX 12", ["'XX' is not known", "ISO, UK, US, JP, CH, IT, ES, DE"]),
        ("size 7", ["names no system", "US 7 (17.323 mm", "JP 7 (15.000 mm"]),
        ("FR 54", ["more ways than one", "ISO n", "CH n", "here ISO 54 (17.189 mm"]),
        ("JIS 12", ["circumference", "JP n"]),
        ("ISO", ["'' is no ISO size"]),
        ("ISO 40", ["outside the range ISO 41 to ISO 76"]),
        ("ISO 77", ["outside the range"]),
        ("ISO 54.25", ["steps of 0.5", "ISO 54 or ISO 54.5"]),
        ("US 6.3", ["steps of 0.25", "US 6.25 or US 6.5"]),
        ("US 61/4", ["'61/4' is no US size"]),
        ("US 16.25", ["outside the range US 0 to US 16"]),
        ("US -1", ["no US size"]),
        ("US L", ["no US size"]),
        ("US 1e1", ["no US size"]),
        ("US nan", ["no US size"]),
        ("UK 12", ["no UK size", "letter A to Z"]),
        ("UK Lh", ["no UK size"]),
        ("UK L 1/4", ["no UK size"]),
        ("UK L+1", ["no UK size"]),
        ("UK Z+0", ["no UK size"]),
        ("UK Z+77777777777", ["no UK size"]),
        ("UK Z+7", ["outside the range UK A to UK Z+6"]),
        ("UK Z+6 1/2", ["outside the range"]),
        ("JP 12.5", ["steps of 1", "JP 12 or JP 13"]),
        ("JP 0", ["outside the range JP 1 to JP 30"]),
        ("CH 14.25", ["steps of 0.5"]),
        ("IT 54", ["outside the range IT 1 to IT 36"]),
        ("DE 54", ["outside the range DE 12.5 to DE 22.5", "'ISO 54'"]),
        ("DE 17.3", ["steps of 0.25", "DE 17.25 or DE 17.5"]),
    ],
)
def test_refusals(text: str, parts: list[str]) -> None:
    """What is ambiguous, unknown or off the scale is refused with a message that helps."""
    with pytest.raises(ValueError) as caught:
        read_size(text)
    message = str(caught.value)
    assert message.startswith(f"finger size {text!r}: ")
    assert [part for part in parts if part not in message] == [], message


def test_bare_number_offers_only_what_it_can_be() -> None:
    """17 is neither an ISO circumference nor a US size; 54 is nothing but ISO."""
    with pytest.raises(ValueError, match="17") as seventeen:
        read_size("17")
    assert "ISO" not in str(seventeen.value)
    assert "US" not in str(seventeen.value)
    with pytest.raises(ValueError, match=re.escape("meant: ISO 54 (17.189 mm inside)") + "$"):
        read_size("54")


@pytest.mark.parametrize(
    ("system", "count"),
    [("ISO", 71), ("UK", 63), ("US", 65), ("JP", 30), ("CH", 71), ("IT", 71), ("ES", 71), ("DE", 41)],
)
def test_every_size_reads_back(system: str, count: int) -> None:
    """All sizes of a system are distinct, rise, read back from their label and make safe, distinct file names."""
    sizes = all_sizes(system)
    names = {file_label(size) for size in sizes}
    assert len(sizes) == len(names) == count
    assert [read_size(size.label) for size in sizes] == list(sizes)
    assert all(a.inner_diameter_mm < b.inner_diameter_mm for a, b in itertools.pairwise(sizes))
    assert all(re.fullmatch(r"[A-Za-z0-9.-]+", name) for name in names)


def test_steps_between_sizes() -> None:
    """One size up: 0.8128 mm of diameter in US (0.032 inch), a third in JP (DICT), 1.25 mm round the finger in UK."""
    assert read_size("US 8").inner_diameter_mm - read_size("US 7").inner_diameter_mm == pytest.approx(0.8128)
    assert read_size("JP 9").inner_diameter_mm - read_size("JP 8").inner_diameter_mm == pytest.approx(1.0 / 3.0)
    assert read_size("UK M").circumference_mm - read_size("UK L").circumference_mm == pytest.approx(1.25)
    assert read_size("UK Z+1").circumference_mm - read_size("UK Z").circumference_mm == pytest.approx(1.25)


def test_less_forty_and_iso_agree() -> None:
    """CH, IT and ES are the ISO size less 40 at every step."""
    for system in ("CH", "IT", "ES"):
        pairs = zip(all_sizes(system), all_sizes("ISO"), strict=True)
        assert all(math.isclose(a.inner_diameter_mm, b.inner_diameter_mm) for a, b in pairs)


def test_every_system_names_its_source() -> None:
    assert set(SYSTEMS) == {"ISO", "UK", "US", "JP", "CH", "IT", "ES", "DE"}
    assert all(rule.source and rule.confidence in ("high", "medium", "low") for rule in SYSTEMS.values())


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(max_size=12), st.text(alphabet="ISOUKJPCHDEZLA0123456789 +./,½¼-:", max_size=10)))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Whatever is typed gives a size of a known system, whose label reads back as itself, or a ValueError."""
    try:
        size = read_size(text)
    except ValueError as refusal:
        assert "finger size" in str(refusal)  # noqa: PT017 (both outcomes are checked)
        return
    assert read_size(size.label) == size
    assert size in all_sizes(size.system)
