"""A chart of how counts and stone sizes close on a spec's finger, as an SVG of our own making.

Above, what each count leaves: the gap where the stones go all round, the arc taken where they do not. Below, the change
of height at which it closes exactly. One line for each of a few stone sizes, the spec's own point marked.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from bandgen.reports.fit_alternatives import clearance_range, diameters_near
from bandgen.reports.fit_rows import Part, StoneRow, arc_of, stone_row, stone_rows
from bandgen.spec import Spec

WIDTH, HEIGHT = 880, 760
LEFT, RIGHT, TOPS, PANEL = 78, 740, (100, 434), 262
COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9")
"""Told apart by every kind of sight (Okabe and Ito 2008, from memory)."""
HALO = 'stroke="#ffffff" stroke-width="3" paint-order="stroke"'
SIZES_BESIDE = 2
MOST_HEIGHT_MM = 1.0
"""Changes of height beyond this are not drawn."""


@dataclass(frozen=True)
class Dot:
    """A count: where it stands, and whether it fits at the spec's own height."""

    count: int
    value: float
    fits: bool = True


@dataclass(frozen=True)
class Line:
    """A stone size: what its counts take, and their changes of height in mm."""

    diameter_mm: float
    taken: tuple[Dot, ...]
    heights: tuple[Dot, ...]


@dataclass(frozen=True)
class Axis:
    """A scale from values to the picture's points, with its ticks."""

    low: float
    high: float
    start: float
    end: float
    step: float

    def at(self, value: float) -> float:
        """Where a value stands."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    @property
    def ticks(self) -> list[float]:
        """Multiples of the step."""
        first, last = math.ceil(self.low / self.step - 1e-9), math.floor(self.high / self.step + 1e-9)
        return [index * self.step for index in range(first, last + 1)]


@dataclass(frozen=True)
class Chart:
    """All that is drawn: the spec's own row and where it stands, and a line for each stone size."""

    spec: Spec
    own: StoneRow
    asked: Dot
    lines: tuple[Line, ...]

    @property
    def coloured(self) -> list[tuple[str, Line]]:
        """The lines with their colours."""
        return list(zip(COLOURS, self.lines, strict=False))

    @property
    def counts(self) -> Axis:
        """The level axis, some twenty ticks at most."""
        drawn = [dot.count for line in self.lines for dot in line.taken] + [self.own.count]
        low, high = min(drawn) - 0.6, max(drawn) + 0.6
        return Axis(low, high, LEFT, RIGHT, float(max(1, math.ceil((high - low) / 24.0))))


def fit_chart(spec: Spec) -> str:
    """The chart as the text of an SVG file.

    Raises:
        SpecError: where not even a row of stones can be found.
    """
    arc = arc_of(spec)
    own = _own(spec, arc)
    lines = tuple(_line(spec, size, arc) for size in _sizes(spec))
    chart = Chart(spec, own, _dot_at(own, spec.finger.bore_mm / 2.0 + own.clearance_mm), lines)
    return _document([*_heading(chart), *_upper(chart), *_lower(chart)])


def _own(spec: Spec, arc_deg: float) -> StoneRow:
    """The spec's own row; of the most stones that fit where it gives no count."""
    rows = list(stone_rows(spec, spec.stones.diameter_mm, arc_deg))
    if spec.stones.count is not None:
        free = spec.model_copy(update={"stones": spec.stones.model_copy(update={"count": None})})
        return stone_row(free, spec.stones.count, arc_deg)
    fitting = [row for row in rows if row.surplus_mm(spec.finger.bore_mm / 2.0 + row.clearance_mm) >= -1e-9]
    return max(fitting or rows[:1], key=lambda row: row.count)


def _sizes(spec: Spec) -> tuple[float, ...]:
    """The own size, and of the ladder the next smaller and larger ones."""
    sizes = diameters_near(spec, math.inf)
    place = sizes.index(spec.stones.diameter_mm)
    return sizes[max(place - SIZES_BESIDE, 0) : place + SIZES_BESIDE + 1]


def _line(spec: Spec, diameter_mm: float, arc_deg: float) -> Line:
    bore, (least, most) = spec.finger.bore_mm / 2.0, clearance_range()
    taken, heights = [], []
    for row in stone_rows(spec, diameter_mm, arc_deg):
        culet = bore + row.clearance_mm
        taken.append(_dot_at(row, culet))
        closing = row.closing_mm(bore + least, bore + most)
        if closing is not None and abs(closing - culet) <= MOST_HEIGHT_MM:
            heights.append(Dot(row.count, closing - culet))
    return Line(diameter_mm, tuple(taken), tuple(heights))


def _dot_at(row: StoneRow, culet_mm: float) -> Dot:
    return Dot(row.count, row.taken(culet_mm), row.surplus_mm(culet_mm) >= -1e-9)


# Drawing


def _value_axis(values: Sequence[float], top: int) -> Axis:
    """Upwards, with some eight round steps and a little room at both ends."""
    low, high = min(values), max(values)
    room = 0.06 * (high - low) or 0.5
    rough = (high - low + 2.0 * room) / 8.0
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if rough <= power * factor)
    return Axis(low - room, high + room, top + PANEL, top, step)


def _document(parts: Sequence[str]) -> str:
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        'font-family="Helvetica, Arial, sans-serif" font-size="13" fill="#222222">'
    )
    return "\n".join([head, f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>', *parts, "</svg>", ""])


def _text(x: float, y: float, words: str, anchor: str = "start", extra: str = "") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{extra}>{escape(words)}</text>'


def _stroke(x1: float, y1: float, x2: float, y2: float, style: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" {style}/>'


def _heading(chart: Chart) -> list[str]:
    """What is shown, what the dots mean, and the sizes in a row."""
    spec, own = chart.spec, chart.own
    bore = f"{spec.finger.bore_mm:.2f} mm"
    finger = f"{spec.finger.size} ({bore})" if spec.finger.size else f"a bore of {bore}"
    words = f"{spec.name}: which counts close on {finger}"
    told = f"Ringed: as asked, {own.count} of {own.diameter_mm:g} mm."
    parts = [
        _text(LEFT, 32, words, extra=' font-size="18" font-weight="bold"'),
        _text(LEFT, 56, f"{told} Filled dots leave the gap wanted for their size, open ones less."),
    ]
    for index, (colour, line) in enumerate(chart.coloured):
        x = LEFT + 150 * index
        parts += [_stroke(x, 76, x + 32, 76, f'stroke="{colour}" stroke-width="2"'), _dot(x + 16, 76, colour, True)]
        parts += [_text(x + 40, 80, f"{line.diameter_mm:g} mm stones")]
    return parts


def _upper(chart: Chart) -> list[str]:
    """What the counts take of the room."""
    own = chart.own
    part = isinstance(own, Part)
    wanted = own.arc_deg if isinstance(own, Part) else own.wanted_mm
    taken = [dot.value for line in chart.lines for dot in line.taken]
    values, counts = _value_axis([*taken, chart.asked.value, wanted], TOPS[0]), chart.counts
    return [
        *_frame(counts, values, "arc that the stones take, degrees" if part else "gap between girdles, mm"),
        *_level(values, wanted, f"wanted: {wanted:.4g} {'°' if part else 'mm'}"),
        *(piece for colour, line in chart.coloured for piece in _curve(colour, line.taken, counts, values)),
        *_ring(counts.at(chart.asked.count), values.at(chart.asked.value)),
    ]


def _lower(chart: Chart) -> list[str]:
    """The changes of height that close."""
    heights = [dot.value for line in chart.lines for dot in line.heights]
    values, counts = _value_axis([*heights, -0.5, 0.5], TOPS[1]), chart.counts
    return [
        *_frame(counts, values, "change of height that closes exactly, mm"),
        *_level(values, 0.0, "as it is"),
        *(piece for colour, line in chart.coloured for piece in _curve(colour, line.heights, counts, values)),
        _text((LEFT + RIGHT) / 2.0, TOPS[1] + PANEL + 44, "number of stones", "middle"),
    ]


def _frame(counts: Axis, values: Axis, words: str) -> list[str]:
    """Grid, ticks, numbers and the name of the upright axis."""
    bottom, top, thin = values.start, values.end, 'stroke="#dddddd"'
    places = max(0, -math.floor(math.log10(values.step) + 1e-9))
    parts = []
    for tick in counts.ticks:
        parts += [_stroke(counts.at(tick), bottom, counts.at(tick), top, thin)]
        parts += [_text(counts.at(tick), bottom + 18, f"{tick:.0f}", "middle")]
    for tick in values.ticks:
        parts += [_stroke(LEFT, values.at(tick), RIGHT, values.at(tick), thin)]
        parts += [_text(LEFT - 8, values.at(tick) + 4, f"{tick:.{places}f}".replace("-", "−"), "end")]
    box = f'<rect x="{LEFT}" y="{top}" width="{RIGHT - LEFT}" height="{PANEL}" fill="none" stroke="#888888"/>'
    middle = (bottom + top) / 2.0
    return [*parts, box, _text(22, middle, words, "middle", f' transform="rotate(-90 22 {middle:.1f})"')]


def _level(values: Axis, value: float, words: str) -> list[str]:
    y = values.at(value)
    return [
        _stroke(LEFT, y, RIGHT, y, 'stroke="#222222" stroke-width="1.5" stroke-dasharray="6 4"'),
        _text(RIGHT + 8, y + 4, words),
    ]


def _curve(colour: str, dots: Sequence[Dot], counts: Axis, values: Axis) -> list[str]:
    points = [(counts.at(dot.count), values.at(dot.value)) for dot in dots]
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    line = f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="1.8"/>'
    return [line, *(_dot(x, y, colour, dot.fits) for (x, y), dot in zip(points, dots, strict=True))]


def _dot(x: float, y: float, colour: str, fits: bool) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{colour if fits else "#ffffff"}" stroke="{colour}"/>'


def _ring(x: float, y: float) -> list[str]:
    return [
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="10" fill="none" stroke="#222222" stroke-width="2"/>',
        _text(x + 14, y - 10, "as asked", extra=f' font-weight="bold" {HALO}'),
    ]
