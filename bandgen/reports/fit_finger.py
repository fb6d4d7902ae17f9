"""Fingers near a spec's own: sizes of its system, and how far one bore is from another in that system's sizes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from bandgen.spec.tables import Finger
from bandgen.trade.sizes import SYSTEMS, all_sizes


@dataclass(frozen=True)
class NamedBore:
    """A bore's diameter in mm, and the size that it is; no name where it is none."""

    mm: float
    name: str = ""


def own_bore(finger: Finger) -> NamedBore:
    """The spec's own."""
    return NamedBore(finger.bore_mm, "" if finger.reading is None else finger.reading.label)


def one_size_mm(finger: Finger) -> float:
    """How much wider in mm a bore is one whole size up in the spec's system; 1 mm where it gives the bore in mm."""
    if finger.reading is None:
        return 1.0
    system = SYSTEMS[finger.reading.system]
    return system.per_unit if system.quantity == "diameter" else system.per_unit / math.pi


def bores_near(finger: Finger, room_mm: float) -> tuple[NamedBore, ...]:
    """The own bore, and the sizes of its system within ``room_mm`` of it."""
    own = own_bore(finger)
    if finger.reading is None:
        return (own,)
    sizes = (NamedBore(size.inner_diameter_mm, size.label) for size in all_sizes(finger.reading.system))
    near = (size for size in sizes if size.name != own.name and abs(size.mm - own.mm) <= room_mm + 1e-9)
    return (own, *near)


def told_change(finger: Finger, bore: NamedBore) -> str:
    """In words, how a bore differs from the spec's own; nothing where it does not."""
    change = bore.mm - finger.bore_mm
    if change == 0.0:
        return ""
    if bore.name:
        return f"finger {bore.name}"
    way = "wider" if change > 0.0 else "narrower"
    if finger.reading is None:
        return f"finger {abs(change):.3f} mm {way}"
    return f"finger {abs(change) / one_size_mm(finger):.2f} sizes {way} ({bore.mm:.3f} mm)"
