"""Distance to trouble: a crossing that is told is one, every event has words, the nearest comes first."""

import ast
import dataclasses
import functools
import json
import re
import time
from pathlib import Path

import pytest
from conftest import SAMPLES

import bandgen
from bandgen.cli import main
from bandgen.errors import SpecError
from bandgen.layout import compute
from bandgen.layout.arrange import arrange
from bandgen.layout.compute import compute_layout
from bandgen.layout.events import nearness
from bandgen.layout.trials import UNPLACED, changed
from bandgen.reports.trouble import margins
from bandgen.reports.trouble_words import FLIPS, LIMITS, PARTS, PLACES, words
from bandgen.spec import load_spec, make_spec, spec_keys
from bandgen.units import KEEP_AWAY_MM

BY_NAME = {path.stem: path for path in SAMPLES}
EVEN = ("ariadne", "quarry", "harbour")
UNEQUAL = ("kestrel",)
BESIDE = 1e-4
"""How far before and beyond a crossing is looked, of the key's range."""


@pytest.fixture(autouse=True)
def _without_advice(monkeypatch):
    """A refusal need not say what would do: that takes as long as all margins."""
    monkeypatch.setattr(compute, "advise", lambda *_: "")


@functools.cache
def _margins(name):
    spec = load_spec(BY_NAME[name])
    return spec, margins(spec, compute_layout(spec))


def _is_refused(spec):
    try:
        compute_layout(spec)
    except SpecError:
        return True
    return False


def _steps(margin):
    """The crossing a little before and a little beyond."""
    low, high = margin.allowed
    step = BESIDE * (high - low) * (1.0 if margin.way == "up" else -1.0)
    return margin.crossing - step, margin.crossing + step


def _signed(spec, name):
    """An event's distance in the layout, feasible or not."""
    return next(event.distance_mm for event in compute._lay_out(spec).events if event.name == name)


@pytest.mark.parametrize("name", [*EVEN, *UNEQUAL])
def test_beyond_a_limits_crossing_the_layout_refuses(name):
    spec, found = _margins(name)
    limits = [each for each in found if each.kind == "limit" and each.crossing is not None]
    assert len(limits) >= 5
    for margin in limits:
        assert _is_refused(changed(spec, margin.key, _steps(margin)[1])), margin


@pytest.mark.parametrize("name", [*EVEN, *UNEQUAL])
def test_before_a_limits_crossing_it_does_not(name):
    """But where something else is said to be in the way."""
    spec, found = _margins(name)
    limits = [each for each in found if each.kind == "limit" and each.crossing is not None]
    free = [each for each in limits if not each.sooner and each.crossing != each.value]
    assert len(free) >= 3
    for margin in free:
        assert not _is_refused(changed(spec, margin.key, _steps(margin)[0])), margin
    for margin in (each for each in limits if each.sooner and each.crossing != each.value):
        assert _is_refused(changed(spec, margin.key, _steps(margin)[0])), margin


@pytest.mark.parametrize("name", EVEN)
def test_a_flips_crossing_turns_its_sign(name):
    spec, found = _margins(name)
    flips = [each for each in found if each.kind == "flip" and each.crossing is not None and not each.sooner]
    assert flips
    for margin in flips:
        before, beyond = (_signed(changed(spec, margin.key, value), margin.name) for value in _steps(margin))
        assert before * margin.distance_mm > 0.0 > beyond * margin.distance_mm, margin


def test_a_draft_at_which_feet_part_is_crossed_into_a_sound_band():
    """The one flip that a layout moves off by itself: both sides can be made."""
    spec, found = _margins("quarry")
    margin = next(each for each in found if each.name == "feet-touch")
    drafts = [compute_layout(changed(spec, margin.key, value)) for value in _steps(margin)]
    before, beyond = (next(e.distance_mm for e in each.events if e.name == margin.name) for each in drafts)
    assert before >= KEEP_AWAY_MM - 1e-9
    assert beyond <= -KEEP_AWAY_MM + 1e-9


def test_crossing_in_closed_form():
    """A prong's shoulder is its height less half its diameter (dome): refused under 0.02, so at d / 2 + 0.02."""
    spec = make_spec({"finger": {"size": "ISO 54"}, "stones": {"diameter_mm": 2.0}})
    margin = next(each for each in margins(spec, compute_layout(spec)) if each.name == "prong-shoulder")
    diameter = 0.35 + 0.22 * 2.0
    assert margin.crossing == pytest.approx(diameter / 2.0 + KEEP_AWAY_MM, abs=1e-5)
    assert margin.distance_mm == pytest.approx(0.86 - diameter / 2.0, abs=1e-12)


def test_culet_and_floor_in_closed_form():
    """Floor given: the clearance at which 0.02 is left is the floor and 0.02."""
    data = {"finger": {"size": "ISO 54"}, "stones": {"diameter_mm": 2.0, "culet_clearance_mm": 0.9}}
    spec = make_spec({**data, "seat": {"floor_mm": 0.6}})
    margin = next(each for each in margins(spec, compute_layout(spec)) if each.name == "culet-floor")
    assert (margin.key, margin.value) == ("seat.floor_mm", 0.6)
    assert margin.crossing == pytest.approx(0.88, abs=1e-5)


@pytest.mark.parametrize("name", [*EVEN, *UNEQUAL])
def test_all_events_are_told_the_nearest_first(name):
    spec, found = _margins(name)
    layout = compute_layout(spec)
    assert sorted(each.name for each in found) == sorted(event.name for event in layout.events)
    distances = [nearness(event) for event in sorted(layout.events, key=nearness)]
    assert [abs(each.distance_mm) for each in found] == pytest.approx([abs(each) for each in distances])
    for margin in found:
        low, high = spec_keys()[margin.key]
        assert margin.crossing is None or low <= margin.crossing <= high


@pytest.mark.parametrize("name", ["ariadne", "gleaner", "moonrise", "heddle"])
def test_seats_prongs_and_plugs_place_no_stone(name):
    """What the trials take for granted: but for the floor's depth, no such value moves a stone or changes its table."""
    spec = load_spec(BY_NAME[name])
    row = arrange(spec)
    keys = {key: at for key, at in spec_keys().items() if key.partition(".")[0] in UNPLACED and at}
    assert len(keys) > 12
    for key, (low, high) in keys.items():
        other = arrange(changed(spec, key, low + 0.3 * (high - low)))
        same = (other.angles_deg, other.gap_mm) == (row.angles_deg, row.gap_mm)
        same &= [own.stones for own in other.specs] == [own.stones for own in row.specs]
        assert same or key == "seat.floor_mm"


def test_forty_stones_take_less_than_two_seconds():
    """0.4 s of processor time was seen; processor time, as others may be at work."""
    spec = load_spec(BY_NAME["heron"])
    layout = compute_layout(spec)
    assert len(layout.stations) == 40
    start = time.process_time()
    margins(spec, layout)
    assert time.process_time() - start < 2.0


# Words


def event_names():
    """Every name that the source gives an event: a plain string among the first two values of a call that makes one."""
    found = set()
    for path in (Path(bandgen.__file__).parent / "layout").glob("*.py"):
        calls = (node for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Call))
        for call in (each for each in calls if getattr(each.func, "id", "") in ("Event", "_limit", "_event")):
            texts = [each.value for each in call.args[:2] if isinstance(each, ast.Constant)]
            found |= {text for text in texts if isinstance(text, str) and text not in ("limit", "flip")}
    return found


def test_every_event_has_words():
    assert sorted(event_names() - {*LIMITS, *FLIPS}) == []
    assert sorted({*LIMITS, *FLIPS} - event_names()) == []


def test_every_place_that_a_hoop_lies_along_has_words():
    """The one name that is put together from what and where."""
    root = Path(bandgen.__file__).parent / "layout"
    text = (root / "hoop.py").read_text() + (root / "bore.py").read_text()
    assert set(re.findall(r'Graze\("(\w+)"', text)) == set(PARTS)
    assert set(re.findall(r'\((?:layout\.bore_radius_mm|top_mm), "(\w+)"\)', text)) == {"finger", "top"}
    assert '"bore\'s edge"' in text
    assert set(PLACES) == {"finger", "top", "bore's-edge"}


def test_events_of_a_bore_as_cast_have_words():
    """Their names are those of other events with a word before them."""
    assert 'name=f"cast-{each.name}"' in (Path(bandgen.__file__).parent / "layout" / "casting.py").read_text()
    spec = load_spec(BY_NAME["daedalus"])
    found = [each for each in margins(spec, compute_layout(spec)) if each.name.startswith("cast-")]
    assert found
    assert all("as cast" in each.words and each.key == "casting.bore_allowance_mm" for each in found)


def test_words_say_how_far_and_on_which_side():
    assert words("feet-touch", "flip", 0.0301) != words("feet-touch", "flip", -0.0301)
    assert "0.030 mm further up" in words("feet-touch", "flip", 0.0301)
    for name in LIMITS:
        assert "0.123" in words(name, "limit", 0.123)
    for name in FLIPS:
        assert "0.123" in words(name, "flip", -0.123)
    assert "prong's, at the bore's edge" in words("hoop-prong-bore's-edge", "flip", 0.1)


# The command


def test_command_prints_every_margin(capsys, spec_file):
    assert main(["margins", str(spec_file), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    spec = load_spec(spec_file)
    assert told == json.loads(json.dumps([dataclasses.asdict(each) for each in margins(spec, compute_layout(spec))]))


def test_command_in_words(capsys):
    assert main(["margins", str(BY_NAME["ariadne"])]) == 0
    out = capsys.readouterr().out
    assert re.search(r"prong-shoulder: .*\n +prong\.height_above_girdle_mm 0\.731 -> 0\.382 is refused", out)
    assert "seat.bearing_deg 40.8 is its limit: less is refused" in out


def test_command_refuses_what_cannot_be_made(capsys, spec_file):
    assert main(["margins", str(spec_file), "--set", "seat.wall_mm=1.9"]) == 2
    assert "seat.wall_mm" in capsys.readouterr().err
