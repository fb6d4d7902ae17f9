"""The chart: well-formed, and its points read back from the axes' own numbers are those of the layout."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from bandgen.cli import main
from bandgen.defaults import fill_stones
from bandgen.layout.compute import compute_layout
from bandgen.layout.packing import closing_radius, girdle_gap
from bandgen.layout.seatwork import girdle_radius
from bandgen.reports.fit_chart import fit_chart
from bandgen.spec import load_spec, make_spec

SAMPLES = Path(__file__).parents[1] / "samples"
NAMES = {"s": "http://www.w3.org/2000/svg"}


def read(spec):
    return ET.fromstring(fit_chart(spec))


def number(text):
    return float(text.replace("−", "-"))


def scales(picture):
    """Linear maps from the picture's x and y to counts and values, for the upper and the lower panel, from the printed
    ticks alone."""
    texts = picture.findall("s:text", NAMES)
    ticks = [t for t in texts if t.get("text-anchor") == "end"]
    counts = [t for t in texts if t.get("text-anchor") == "middle" and t.text.isdigit()]
    across = np.polyfit([float(t.get("x")) for t in counts], [number(t.text) for t in counts], 1)
    middle = 400.0  # between the two
    panels = []
    for side in (-1.0, 1.0):
        own = [t for t in ticks if (float(t.get("y")) - middle) * side > 0.0]
        heights = [float(t.get("y")) - 4.0 for t in own]
        panels.append(np.polyfit(heights, [number(t.text) for t in own], 1))
    return across, *panels


def points(line):
    return [tuple(map(float, pair.split(","))) for pair in line.get("points").split()]


def test_the_ring_marks_the_spec_s_own_point():
    picture = read(load_spec(SAMPLES / "ariadne.toml"))
    across, upper, _ = scales(picture)
    (ring,) = [c for c in picture.findall("s:circle", NAMES) if c.get("r") == "10"]
    assert np.polyval(across, float(ring.get("cx"))) == pytest.approx(32.0, abs=0.01)
    layout = compute_layout(load_spec(SAMPLES / "ariadne.toml"))
    assert np.polyval(upper, float(ring.get("cy"))) == pytest.approx(layout.girdle_gap_mm, abs=1e-3)


def test_every_line_is_the_closed_form_of_its_stone():
    """Gaps above, changes of height below, for 1.55 to 1.9 mm on ISO 52."""
    spec = load_spec(SAMPLES / "ariadne.toml")
    picture = read(spec)
    across, upper, lower = scales(picture)
    lines = picture.findall("s:polyline", NAMES)
    sizes = (1.55, 1.6, 1.7, 1.8, 1.9)
    assert len(lines) == 2 * len(sizes)
    for size, above, below in zip(sizes, lines[: len(sizes)], lines[len(sizes) :], strict=True):
        own = fill_stones(spec.model_copy(update={"stones": spec.stones.model_copy(update={"diameter_mm": size})}))
        radius = girdle_radius(own)
        for x, y in points(above):
            count = round(np.polyval(across, x))
            assert np.polyval(upper, y) == pytest.approx(girdle_gap(radius, size, count), abs=2e-3)
        for x, y in points(below):
            height = closing_radius(size, round(np.polyval(across, x)), own.stones.gap_mm) - radius
            assert np.polyval(lower, y) == pytest.approx(height, abs=4e-3)


def test_filled_dots_are_those_that_fit():
    """As many filled ones in the upper panel as counts at or under the most that fit: four of seven for each size."""
    picture = read(load_spec(SAMPLES / "ariadne.toml"))
    upper = [c for c in picture.findall("s:circle", NAMES) if c.get("r") == "4" and 100 <= float(c.get("cy")) <= 362]
    assert sum(c.get("fill") == "#ffffff" for c in upper) == 5 * 3
    assert len(upper) == 5 * 7


@pytest.mark.parametrize("name", ["kestrel", "gleaner", "trefoil", "quarry"])
def test_everything_lies_within_the_picture(name):
    picture = read(load_spec(SAMPLES / f"{name}.toml"))
    width, height = float(picture.get("width")), float(picture.get("height"))
    for circle in picture.findall("s:circle", NAMES):
        assert 78.0 <= float(circle.get("cx")) <= 740.0
        assert 0.0 <= float(circle.get("cy")) <= height
    for text in picture.findall("s:text", NAMES):  # some 7 points a letter at 13 points: an upper bound
        size = float(text.get("font-size", "13"))
        if text.get("text-anchor") == "start":
            assert float(text.get("x")) + 0.56 * size * len(text.text) <= width


def test_a_name_is_escaped_and_an_arc_has_its_own_axis():
    spec = make_spec(
        {"name": "A", "finger": {"size": "ISO 55"}, "stones": {"diameter_mm": 2.2}, "arrangement": {"coverage": "half"}}
    )
    words = [text.text for text in read(spec).findall("s:text", NAMES)]
    assert "arc that the stones take, degrees" in words
    assert "wanted: 180 °" in words
    assert not any(math.isnan(number(word)) for word in words if word.replace("−", "").replace(".", "").isdigit())


def test_the_command_writes_it(tmp_path, capsys):
    file = tmp_path / "chart.svg"
    assert main(["fit", str(SAMPLES / "heron.toml"), "--best", "1", "--chart", str(file)]) == 0
    assert ET.parse(file).getroot().tag == "{http://www.w3.org/2000/svg}svg"


def test_a_chart_that_cannot_be_written_exits_3(tmp_path, capsys):
    file = tmp_path / "none" / "chart.svg"
    assert main(["fit", str(SAMPLES / "heron.toml"), "--best", "1", "--chart", str(file)]) == 3
    assert "chart.svg: cannot be written: No such file" in capsys.readouterr().err
