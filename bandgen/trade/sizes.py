"""Finger sizes: seven systems as data, read from text, never guessed.

Every system is linear: a circumference or a diameter is ``zero + per_unit * number``. ISO 8653 measures the
biggest cylinder that enters the ring, so the diameter here is the *least* inside diameter of the band.

Which values are taken (a reading off its step is refused, not rounded):

    ISO          41 to 76 mm circumference, whole and half numbers. The standard designates whole numbers;
                 shops sell halves, so they are read too (common practice, no source).
    UK           A to Z, then Z+1 to Z+6, with halves. Also AU, IE, NZ, ZA.
    US           0 to 16 in quarters. Also USA, CA. Published US charts scatter by 0.05 to 0.1 mm.
    JP           1 to 30, whole (the JCS number; a JIS size is a circumference, so it is an ISO size).
    CH, IT, ES   circumference less 40: 1 to 36, whole and half numbers.
    DE           12.5 to 22.5 mm diameter in quarters (the German circumference is an ISO size).

Charts of one system differ (``scatter_mm``), UK ones by up to 0.2 mm in diameter: show the millimetres beside the
letter. Read are a system before or after its number or letter, the word "size" or the sign # beside it, halves and
quarters as signs, fractions or decimals (with a hyphen or without), "half" and "plus".

Sources are the keys of the project's trade facts, section 1; each system names its own.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from string import ascii_uppercase
from types import MappingProxyType
from typing import Literal

Confidence = Literal["high", "medium", "low"]
Quantity = Literal["circumference", "diameter"]


@dataclass(frozen=True)
class FingerSystem:
    """One way of numbering: ``quantity`` in mm is ``zero + per_unit * number``, for numbers ``first`` to ``last``
    in steps of ``step``. For UK the number is the letter's place (A = 1, Z = 26, Z+6 = 32). ``scatter_mm`` is how far
    published charts of the system lie apart, in diameter."""

    name: str
    quantity: Quantity
    zero: float
    per_unit: float
    first: float
    last: float
    step: float
    source: str
    confidence: Confidence
    scatter_mm: float = 0.0


@dataclass(frozen=True)
class FingerSize:
    """A size as read: the ``label`` is normalised ("UK L 1/2", "US 6.25"), the diameter is the least inside one."""

    system: str
    label: str
    inner_diameter_mm: float

    @property
    def circumference_mm(self) -> float:
        """Inside circumference in mm."""
        return math.pi * self.inner_diameter_mm


_LESS_40 = "rule n = circumference - 40: Wikipedia 'Ring size' mirror liquisearch.com, umrechnung-ringgroessen.de"

SYSTEMS: Mapping[str, FingerSystem] = MappingProxyType(
    {
        system.name: system
        for system in (
            FingerSystem(
                *("ISO", "circumference", 0.0, 1.0, 41.0, 76.0, 0.5),
                source="ISO 8653:2014 (preview); gauge 41 to 76: gessweinsiam.com; halves: common practice, no source",
                confidence="high",
            ),
            FingerSystem(
                *("UK", "circumference", 36.25, 1.25, 1.0, 32.0, 0.5),
                source="BS 6820:1987 as given by measurement.enacademic.com/2380/ring_size; end Z+6 from memory",
                confidence="high",
                scatter_mm=0.2,
            ),
            FingerSystem(
                *("US", "diameter", 0.458 * 25.4, 0.032 * 25.4, 0.0, 16.0, 0.25),
                source="0.458 + 0.032 n inch: ringsizely.com/how-we-calculate-ring-sizes; end 16 from memory",
                confidence="high",
                scatter_mm=0.1,
            ),
            FingerSystem(
                *("JP", "diameter", 38.0 / 3.0, 1.0 / 3.0, 1.0, 30.0, 1.0),
                source="JCS table jewelry-craft.online/?p=701; measurement.enacademic.com; end 30 from memory",
                confidence="high",
            ),
            FingerSystem("CH", "circumference", 40.0, 1.0, 1.0, 36.0, 0.5, _LESS_40, "high"),
            FingerSystem("IT", "circumference", 40.0, 1.0, 1.0, 36.0, 0.5, _LESS_40, "high"),
            FingerSystem("ES", "circumference", 40.0, 1.0, 1.0, 36.0, 0.5, _LESS_40, "high"),
            FingerSystem(
                *("DE", "diameter", 0.0, 1.0, 12.5, 22.5, 0.25),
                source="Durchmessermass: thejewellershop.com lexicon 'Ringmass'; quarter steps from memory",
                confidence="medium",
            ),
        )
    }
)
"""Every system by its prefix."""

_ALIASES = {
    **{name: name for name in SYSTEMS},
    **dict.fromkeys(("AU", "GB", "IE", "NZ", "ZA"), "UK"),
    **dict.fromkeys(("CA", "USA", "CANADA"), "US"),
    **dict.fromkeys(("JCS", "JAPAN"), "JP"),
    **{"SWISS": "CH", "ITALY": "IT", "SPAIN": "ES", "GERMANY": "DE"},
}
_LESS_OR_NOT = "the circumference in mm, 'ISO n', or the circumference less 40, 'CH n'"
_MANY_MEANINGS = {
    "FR": (_LESS_OR_NOT, ("ISO", "CH")),
    "EU": (f"{_LESS_OR_NOT}, or the diameter, 'DE n'", ("ISO", "CH", "DE")),
    "JIS": ("the circumference in mm as in JIS S 4700, 'ISO n', or the JCS number, 'JP n'", ("ISO", "JP")),
}
_FRACTIONS = {"1/4": 0.25, "1/2": 0.5, "3/4": 0.75}
_NUMBER = re.compile(r"(?P<decimal>[0-9]+([.,][0-9]+)?)|((?P<whole>[0-9]+) +)?(?P<part>1/4|1/2|3/4)")
_SPELLINGS = tuple(
    (re.compile(found), spelt)
    for found, spelt in (
        (r"[⁄∕]", "/"),
        (r"¼", " 1/4"),
        (r"½", " 1/2"),
        (r"¾", " 3/4"),
        (r"\s*/\s*", "/"),
        (r"\b(?:(?:RING|FINGER)\s+)?SIZE\b:?|#", " "),
        (r"[\s-]+PLUS\b[\s-]*", "+"),
        (r"[\s-]+HALF\b", " 1/2"),
        (r"(?<=[0-9A-Z])-\s*(?=[13]/[24])", " "),
        (r"\(([A-Z]+)\)\s*$", r" \1"),
    )
)
_SYSTEM_LAST = re.compile(r"(?P<rest>.*[^A-Z])(?P<word>[A-Z]{2,})")
_LETTER = re.compile(r"(?P<letter>[A-Z])( *\+ *(?P<plus>[1-9][0-9]?))?(?P<half> *1/2|[.,]50*)?")


@lru_cache(maxsize=1024)
def read_size(text: str) -> FingerSize:
    """Read a size such as "ISO 54", "US 6 1/4", "UK L½", "UK Z+2", "JP 12", "CH 14" or "DE 17.25".

    Letter case and spaces do not matter. Raises ValueError for an unknown or missing system (a bare number or
    letter is answered with every reading it could have), and for a number outside the system's range or steps.
    """
    clean = _plain(text)
    name, value = _split(text, clean)
    number = _place(value) if name == "UK" else _number(value)
    if number is None:
        shape = "a letter A to Z, perhaps with 1/2, or Z+1 to Z+6" if name == "UK" else "a number such as 6 or 6.5"
        raise ValueError(f"finger size {text!r}: {value!r} is no {name} size; give {shape}")
    _check(text, SYSTEMS[name], number)
    return _size(SYSTEMS[name], number)


@lru_cache
def all_sizes(system: str) -> tuple[FingerSize, ...]:
    """Every size of a system ("ISO", "UK", ...), smallest first. Raises KeyError for an unknown one."""
    rule = SYSTEMS[system]
    count = round((rule.last - rule.first) / rule.step) + 1
    return tuple(_size(rule, rule.first + index * rule.step) for index in range(count))


def system_named(word: str) -> FingerSystem:
    """A system by any name it is read under ("UK", "au", "USA"). Raises ValueError for an unknown one."""
    if word.strip().upper() not in _ALIASES:
        raise ValueError(f"system {word!r} is not known; the systems are {', '.join(SYSTEMS)}")
    return SYSTEMS[_ALIASES[word.strip().upper()]]


def file_label(size: FingerSize) -> str:
    """The label in letters, digits, dots and hyphens only: "UK-L-half", "UK-Z-plus-2", "US-6.25"."""
    return size.label.replace(" 1/2", "-half").replace("+", "-plus-").replace(" ", "-")


def _plain(text: str) -> str:
    """Upper case, fractions as 1/2, the system's name without brackets, no "size", single spaces."""
    text = text.upper()
    for found, spelt in _SPELLINGS:
        text = found.sub(spelt, text)
    return " ".join(text.split())


def _split(text: str, clean: str) -> tuple[str, str]:
    """The system's name and the rest; refuses what has no system or one that is not known."""
    if _number(clean) is not None or _place(clean) is not None:
        raise ValueError(_bare_message(text, clean))
    word, rest = _system_word(clean)
    if word in _ALIASES:
        return _ALIASES[word], rest
    if word in _MANY_MEANINGS:
        raise ValueError(_many_message(text, word, rest))
    unknown = f"system {word!r} is not known" if word else "no system"
    raise ValueError(f"finger size {text!r}: {unknown}; the systems are {', '.join(SYSTEMS)}")


def _system_word(clean: str) -> tuple[str, str]:
    """The system's word, first or last, and the rest: ("UK", "N 1/2") of "UK N 1/2", "UKN 1/2" and "N 1/2 UK"."""
    last = _SYSTEM_LAST.fullmatch(clean)
    if last and (last["word"] in _ALIASES or last["word"] in _MANY_MEANINGS):
        return last["word"], last["rest"].strip().removesuffix("-").strip()
    rest = clean.lstrip(ascii_uppercase)
    word, rest = clean[: len(clean) - len(rest)], rest.removeprefix("-").removeprefix(":").strip()
    if len(word) == 3 and _ALIASES.get(word[:2]) == "UK":
        return word[:2], word[2] + rest
    return word, rest


def _many_message(text: str, word: str, rest: str) -> str:
    meanings, systems = _MANY_MEANINGS[word]
    readings = [size for size in _readings(rest) if size.system in systems]
    advice = f"; here {_offer(readings)}" if readings else ""
    return f"finger size {text!r}: {word} is read in more ways than one: {meanings}{advice}"


def _bare_message(text: str, clean: str) -> str:
    readings = _readings(clean)
    if not readings:
        return f"finger size {text!r}: names no system, and no system has it; the systems are {', '.join(SYSTEMS)}"
    return f"finger size {text!r}: names no system; write the one that is meant: {_offer(readings)}"


def _offer(readings: list[FingerSize]) -> str:
    return " or ".join(f"{size.label} ({size.inner_diameter_mm:.3f} mm inside)" for size in readings)


def _readings(clean: str) -> list[FingerSize]:
    """Every size that a bare number or letter could mean."""
    number, place = _number(clean), _place(clean)
    values = ((rule, place if rule.name == "UK" else number) for rule in SYSTEMS.values())
    return [_size(rule, value) for rule, value in values if value is not None and _fits(rule, value)]


def _number(value: str) -> float | None:
    """ "6", "6.25", "6,25", "6 1/4" or "1/4" as a number; None for anything else."""
    found = _NUMBER.fullmatch(value)
    if found is None:
        return None
    if found["decimal"]:
        return float(found["decimal"].replace(",", "."))
    return float(found["whole"] or 0) + _FRACTIONS[found["part"]]


def _place(value: str) -> float | None:
    """A UK letter's place: A 1, L 1/2 12.5, Z+2 28; None for anything else."""
    found = _LETTER.fullmatch(value)
    if found is None or (found["plus"] and found["letter"] != "Z"):
        return None
    return ord(found["letter"]) - ord("A") + 1 + int(found["plus"] or 0) + (0.5 if found["half"] else 0.0)


def _fits(rule: FingerSystem, number: float) -> bool:
    return rule.first <= number <= rule.last and number % rule.step == 0.0


def _check(text: str, rule: FingerSystem, number: float) -> None:
    ends = f"{_label(rule, rule.first)} to {_label(rule, rule.last)}"
    if not rule.first <= number <= rule.last:
        circumference = rule.name not in ("ISO", "UK") and _fits(SYSTEMS["ISO"], number)
        advice = f"; the circumference is written 'ISO {number:g}'" if circumference else ""
        raise ValueError(f"finger size {text!r}: outside the range {ends}{advice}")
    if number % rule.step != 0.0:
        below = number // rule.step * rule.step
        near = " or ".join(_label(rule, value) for value in (below, below + rule.step) if _fits(rule, value))
        raise ValueError(f"finger size {text!r}: {rule.name} goes in steps of {rule.step:g}; the nearest are {near}")


def _size(rule: FingerSystem, number: float) -> FingerSize:
    measure = rule.zero + rule.per_unit * number
    diameter = measure if rule.quantity == "diameter" else measure / math.pi
    return FingerSize(rule.name, _label(rule, number), diameter)


def _label(rule: FingerSystem, number: float) -> str:
    if rule.name != "UK":
        return f"{rule.name} {number:g}"
    place = int(number)
    letter = chr(ord("A") + place - 1) if place <= 26 else f"Z+{place - 26}"
    return f"UK {letter}" + (" 1/2" if number > place else "")


def pattern() -> str:
    """A regular expression (ECMA 262, for a JSON Schema) of every text that :func:`read_size` accepts."""
    systems = []
    for name in SYSTEMS:
        words = "|".join(_any_case(alias) for alias, meant in _ALIASES.items() if meant == name)
        value = _uk_pattern() if name == "UK" else _number_pattern(name)
        once = f"(?=.*(?:{words}))(?!.*(?:{words}).*(?:{words}))"  # first or last, not both
        last = f"(?:(?:-\\s*|(?<![A-Za-z]))(?:{words})|\\((?:{words})\\))"
        systems.append(f"{once}(?:(?:{words})-?:?\\s*)?{_SIZE}(?:{value})\\s*{_SIZE}(?:{last})?")
    return f"^\\s*{_SIZE}(?:{'|'.join(systems)})\\s*{_SIZE}$"


def _any_case(word: str) -> str:
    return "".join(f"[{letter}{letter.lower()}]" for letter in word)


_SLASH = r"\s*[/⁄∕]\s*"
_APART = r"(?:\s+|-\s*)"
_SIZE = rf"(?:\b(?:(?:{_any_case('RING')}|{_any_case('FINGER')})\s+)?{_any_case('SIZE')}\b:?\s*|#\s*)?"
_PLUS = rf"(?:\s*\+\s*|[\s-]+{_any_case('PLUS')}\b[\s-]*)"
_HALF_WORD = rf"[\s-]+{_any_case('HALF')}\b"
_HALF = rf"(?:[.,]50*|-?\s*1{_SLASH}2|-?\s*½|{_HALF_WORD})"
_ENDS = {
    0.0: r"(?:[.,]0+)?",
    0.25: rf"(?:[.,]250*|{_APART}1{_SLASH}4|-?\s*¼)",
    0.5: rf"(?:[.,]50*|{_APART}1{_SLASH}2|-?\s*½|{_HALF_WORD})",
    0.75: rf"(?:[.,]750*|{_APART}3{_SLASH}4|-?\s*¾)",
}


def _number_pattern(system: str) -> str:
    """Every size of a numbered system, sizes with one fraction together; a lone fraction is a size under one."""
    values = [float(size.label.split()[1]) for size in all_sizes(system)]
    groups = [
        f"(?:{'|'.join(str(int(v)) for v in values if v % 1.0 == part)}){end}"
        for part, end in _ENDS.items()
        if any(v % 1.0 == part for v in values)
    ]
    lone = [
        end.replace("_", _SLASH)
        for part, end in (("0.25", "1_4|¼"), ("0.5", "1_2|½"), ("0.75", "3_4|¾"))
        if float(part) in values
    ]
    return "|".join([*groups, *lone])


def _uk_pattern() -> str:
    last = all_sizes("UK")[-1].label
    beyond = "|".join(str(n) for n in range(1, int(last.split("+")[1].split()[0]) + 1))
    half_at_end = "" if last.endswith("1/2") else f"|[Zz]{_PLUS}{beyond.split('|')[-1]}"
    with_half = beyond if last.endswith("1/2") else "|".join(beyond.split("|")[:-1])
    return f"[A-Za-z]{_HALF}?|[Zz]{_PLUS}(?:{with_half}){_HALF}?{half_at_end}"
