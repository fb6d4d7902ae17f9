"""From a filled spec to a layout, or a refusal that names every key in the way."""

from __future__ import annotations

from bandgen.errors import Problem, SpecError
from bandgen.layout.additions import ADDITIONS
from bandgen.layout.advice import advise
from bandgen.layout.arrange import Row, arrange
from bandgen.layout.events import nearness
from bandgen.layout.numbers import Event, Layout
from bandgen.layout.packing import closing_radius, greatest_count
from bandgen.layout.row import lay_out
from bandgen.layout.seatwork import girdle_radius
from bandgen.layout.trials import Trials
from bandgen.spec import Spec
from bandgen.units import KEEP_AWAY_MM


def compute_layout(spec: Spec) -> Layout:
    """The numbers of a band; values that the spec leaves out are filled in first.

    Raises:
        SpecError: when the values do not go together, with every key in the way and the change that would do.
    """
    try:
        layout = _lay_out(spec)
    except SpecError:
        raise SpecError(_problems(spec)) from None
    if any(_crossed(event) for event in layout.events):
        _refuse(_problems(spec))
    return layout


def _lay_out(asked: Spec) -> Layout:
    """The layout, feasible or not."""
    return _built_up(asked)[0]


def _built_up(asked: Spec) -> tuple[Layout, bool]:
    """The layout, feasible or not, and whether all that was asked is in it."""
    return _added(lay_out(asked, _row(asked)))


def _row(asked: Spec) -> Row:
    row = arrange(asked)
    _refuse(_row_problems(asked, row))
    return row


def _added(layout: Layout) -> tuple[Layout, bool]:
    """Nothing is added to what cannot be made."""
    for add in ADDITIONS:
        if any(_crossed(event) for event in layout.events):
            return layout, False
        layout = add(layout)
    return layout, True


def _problems(asked: Spec) -> list[Problem]:
    """Everything in the way. Where the count alone does not fit, all else is judged with the greatest that does."""
    try:
        crowded = _row_problems(asked, arrange(asked))
    except SpecError as error:
        return list(error.problems)
    judged = _with_count(asked, None) if crowded else asked
    try:
        layout = _lay_out(judged)
    except SpecError as error:
        others = [problem for problem in error.problems if problem not in crowded]
        return [*crowded, *(_too_few(judged) or others)]
    others = _event_problems(judged, layout)
    return [*crowded, *others, *(_too_few(judged) if others else [])]


def _with_count(asked: Spec, count: int | None) -> Spec:
    return asked.model_copy(update={"stones": asked.stones.model_copy(update={"count": count})})


def _too_few(asked: Spec) -> list[Problem]:
    """Where the user's own count leaves the stones too far apart: the least greater count that makes a band."""
    if asked.stones.count is None or asked.arrangement.arc_deg != 360.0:
        return []
    for count in range(asked.stones.count + 1, len(arrange(_with_count(asked, None)).specs) + 1):
        try:
            events = _lay_out(_with_count(asked, count)).events
        except SpecError:
            continue
        if not any(_crossed(event) for event in events):
            return [Problem("stones.count", "leaves the stones too far apart", asked.stones.count, f"at least {count}")]
    return []


def _crossed(event: Event) -> bool:
    return not nearness(event) >= KEEP_AWAY_MM - 1e-9


def _refuse(problems: list[Problem]) -> None:
    if problems:
        raise SpecError(problems)


def _row_problems(asked: Spec, row: Row) -> list[Problem]:
    """The stones must fit, and the cups must have their place under the girdle and over the bore."""
    problems = _gap_problems(asked, row) + _span_problems(asked, row)
    rim = max(_rim_mm(own) for own in row.specs)
    if rim / 2.0 > 0.8 * asked.finger.bore_mm / 2.0:
        most = f"at most {0.8 * asked.finger.bore_mm:.3f} mm"
        problems.append(Problem("seat.rim_diameter_mm", "is too wide for the bore", rim, most))
    return problems


def _rim_mm(own: Spec) -> float:
    return own.stones.diameter_mm if own.seat.rim_diameter_mm is None else own.seat.rim_diameter_mm


def _gap_problems(asked: Spec, row: Row) -> list[Problem]:
    """A closed row leaves at least the gap asked."""
    wanted, count = row.specs[0].stones.gap_mm, len(row.specs)
    if not row.closed or row.gap_mm >= wanted - 1e-9:
        return []
    rule = f"leaves {row.gap_mm:.4f} mm between girdles, less than stones.gap_mm {wanted:g}"
    if any(own is not row.specs[0] for own in row.specs):
        return [Problem("stones.count", rule, count, "fewer or smaller stones, a larger finger, or a smaller gap")]
    girdle, diameter = girdle_radius(row.specs[0]), row.specs[0].stones.diameter_mm
    most = greatest_count(girdle, diameter, wanted)
    bore = 2.0 * (asked.finger.bore_mm / 2.0 + closing_radius(diameter, count, wanted) - girdle)
    return [Problem("stones.count", rule, count, f"at most {most} fit; {count} need a bore of {bore:.3f} mm")]


def _span_problems(asked: Spec, row: Row) -> list[Problem]:
    """An open row stays within its coverage."""
    most = asked.arrangement.arc_deg
    if row.closed or most is None or row.span_deg <= most + 1e-9:
        return []
    rule = f"takes {row.span_deg:.3f} degrees, more than the coverage of {most:g}"
    return [Problem("stones.count", rule, len(row.specs), 'fewer or smaller stones, or arrangement.coverage = "count"')]


def _event_problems(asked: Spec, layout: Layout) -> list[Problem]:
    """Every limit that is crossed or too near, each with the nearest value of its key that would do."""
    crossed = [event for event in layout.events if _crossed(event)]
    if not crossed:
        return []
    problems, trials = [], Trials(asked, _row, _added, len(crossed))
    for event in crossed:
        table, name = event.key.split(".")
        value = getattr(getattr(layout.specs[event.seam][0], table), name)
        rule = f"{event.text}: {event.distance_mm:.4f} mm, at least {KEEP_AWAY_MM} is kept"
        problems.append(Problem(event.key, rule, value, advise(event, value, trials)))
    return problems
