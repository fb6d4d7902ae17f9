"""Every degenerate event in the trade's words: what happens there, ``{mm}`` away from the band as it is.

A limit has one sentence. A flip leaves a sound band on either side, so it has two: for a band on the side of a positive
distance, and for one on the other.
"""

from __future__ import annotations

LIMITS: dict[str, str] = {
    # cup and recess
    "rim-over-bore": "the cup's rim sinks to the finger, {mm} mm further down",
    "recess-width": "the recess closes: {mm} mm of its radius are left",
    "recess-outer-wall": "the rim's land round the seat's mouth is used up: {mm} mm of it are left",
    "recess-wall": "the recess breaks through the cup's side: {mm} mm of wall are left",
    "bearing-width": "the bearing shrinks to an edge: {mm} mm of it are left",
    "bearing-angle": "the bearing gets flatter than the pavilion, and the stone rocks ({mm} is 0.02, and each degree "
    "that it is steeper)",
    "recess-depth": "the bearing runs into the recess's floor, {mm} mm further down",
    "fillet-length": "the fillet gets longer than the edges it joins: {mm} mm of them are left",
    "culet-floor": "the culet touches the recess's floor, {mm} mm further down",
    "rims-touch": "the rims of neighbouring cups touch: {mm} mm of slot are left",
    "recesses-touch": "two neighbours' recesses break into one another: {mm} mm of metal are left to the seam",
    "cup-mid-plane": "a cup reaches under the middle of the next stone, {mm} mm further on",
    # prongs and plug
    "pair-touch": "the two prongs of a pair grow together at the finger: {mm} mm of gap are left",
    "prong-leaves-cup": "a prong comes off its cup: {mm} mm of it are still in the cup",
    "girdle-depth-land": "a prong's root cuts into the bearing: {mm} mm of land are left between",
    "prong-mid-plane": "a prong reaches under the middle of its stone, {mm} mm further on",
    "prong-shoulder": "the prong is so short that its dome begins under the girdle: {mm} mm of shaft are left over it",
    "prong-next-girdle": "the prong of one stone reaches the girdle of the next: {mm} mm are left",
    "prong-next-bearing": "the prong of one stone cuts into the bearing of the next: {mm} mm are left",
    "prongs-cross": "two stones' prongs cross over the finger: {mm} mm are left to the seam",
    "prongs-part": "two stones' prongs part under the plug's top, and leave its end bare: they still share {mm} mm",
    "plug-mouth": "the plug runs into the seat's mouth: {mm} mm of land are left between",
    "plug-end": "the plug gets wider than the prong that covers its end: {mm} mm of prong are left beside it",
    "pinhole": "a pinhole opens between plug, cup and prong: it is sealed by {mm} mm of metal",
    "plug-height": "the plug has no height left: {mm} mm of it are left",
    "plug-foot-finger": "the plug's foot comes down to the finger but for a film of air: {mm} mm are left",
    "plug-foot-pocket": "a void is trapped under the plug, between feet and prong: it is open, or filled, by {mm} mm",
    "plug-foot-parting": "a void is trapped over the place where two feet part: {mm} mm are left to the plug's foot",
    # rows
    "web-side": "the web between the rows shows beside a plug: {mm} mm still bury it",
    "web-height": "the web between the rows is down to the finger: {mm} mm of it are left",
    "web-pocket": "a void is trapped under a plug, beside the web: it is open, or filled, by {mm} mm",
    "row-rims-touch": "cups of neighbouring rows touch: {mm} mm of slot are left",
    "row-prongs-touch": "prongs of neighbouring rows just touch: they stand apart, or are joined, by {mm} mm",
    "row-prong-land": "a prong cuts into a bearing of the next row: {mm} mm are left",
    # hoop
    "hoop-rows": "the hoop no longer reaches under the outer rows: it does by {mm} mm",
    "hoop-web": "the hoop comes up to the web's top: {mm} mm are left",
    "hoop-shank-side": "the hoop comes out of the shank's sides: {mm} mm still hide it",
    "hoop-shank": "the hoop comes out of the shank's outside: {mm} mm still hide it",
    "hoop-rim": "the hoop comes up to the cups' rims: {mm} mm are left",
    "hoop-culet": "the culet touches the hoop, {mm} mm further down",
    "hoop-recess": "the bearing runs into the hoop, {mm} mm further down",
    "hoop-pocket": "the hoop closes a void under the plug: it is open, or filled, by {mm} mm",
    "hoop-plug": "the hoop comes up to the plug's top: {mm} mm are left",
    "hoop-slot": "a slot opens between hoop and plug: they overlap by {mm} mm",
    # comfort bore
    "bore-crown": "the comfort bore is as round as half a circle: {mm} mm of rise are left",
    "bore-recess": "the comfort bore breaks into the recess: {mm} mm of metal are left",
    "bore-rim": "the comfort bore's edge comes up to the cups' rims: {mm} mm are left",
    "bore-web": "the comfort bore comes up to the web's top: {mm} mm are left",
    "bore-plug": "the comfort bore's edge comes up to the plug's top: {mm} mm are left",
    "bore-pocket": "a void is trapped under the plug, beside its prongs: it is open, or filled, by {mm} mm",
    "bore-culet": "the comfort bore reaches the outer rows' culets: {mm} mm are left",
    "bore-hoop": "the comfort bore takes the hoop's edges away: {mm} mm of them are left",
    "bore-shank": "the comfort bore takes the shank's edges away: {mm} mm of them are left",
    # scallops
    "scallop-recess": "the arch breaks into the recess: {mm} mm of metal are left",
    "scallop-middle": "the arch passes the middle of the cup: {mm} mm of metal are left behind it",
    "scallop-step": "the arch gets so shallow that it has no edges: it stands {mm} mm from there",
    "scallop-prong": "the prongs leave no room for an arch between them: {mm} mm are left beside it",
    "scallop-height": "the cup gets too low for an arch: {mm} mm are left",
    "scallop-neighbour": "the next cup reaches into the arch: {mm} mm are left",
    # shank
    "shank-side": "the shank gets wider than the last cup: {mm} mm still bury its end",
    "shank-pinhole": "a pinhole opens between shank, cup and prong: it is sealed by {mm} mm",
    "shank-rim": "the shank stands over the rim of the last cup: it is {mm} mm under it",
    "shank-taper": "the shank's sides taper too fast: {mm} mm of width are left",
    "shank-bend": "the shank's outside bends too fast: {mm} mm of thickness are left",
    # sprues
    "sprue-foot": "the cup's side has no room for a sprue's foot: {mm} mm of its radius are left",
    "sprue-side": "the sprue's foot reaches the rim or the finger: {mm} mm are left",
    "sprue-bore": "the sprue stands in the finger's way: {mm} mm are left",
    "sprue-beside": "the sprue reaches over the next stone's middle: {mm} mm are left",
    "sprue-length": "the sprue is shorter than its own taper: {mm} mm of rod are left",
    "sprue-neighbour": "the sprue runs into the next cup or prong: {mm} mm are left",
    "tag-beside": "the tag reaches over the next stone's middle: {mm} mm are left",
    "tag-length": "the tag leaves no sprue to cut: {mm} mm of rod are left",
}

FLIPS: dict[str, tuple[str, str]] = {
    "feet-touch": (
        "the feet of neighbouring cups stop meeting at the finger: they part {mm} mm further up",
        "the feet of neighbouring cups meet at the finger: their sides would, {mm} mm under it",
    ),
    "plug-foot-parting": (
        "the feet part at the plug's foot: {mm} mm over it",
        "the feet meet up to the plug's foot: they part {mm} mm under it",
    ),
    "prong-next-rim": (
        "the prong of one stone touches the rim of the next cup: {mm} mm are left",
        "the prong of one stone leaves the rim of the next cup: it overlaps by {mm} mm",
    ),
    "prong-tips": (
        "the tips of two prongs in one gap touch: {mm} mm are left",
        "the tips of two prongs in one gap part: they overlap by {mm} mm",
    ),
    "row-prong-rim": (
        "a prong grazes the cup in its notch: {mm} mm are left",
        "a prong leaves the cup in its notch: it overlaps by {mm} mm",
    ),
    "shank-prong-outside": (
        "the shank's side comes in to the prong's outer side: {mm} mm are left",
        "the shank's side comes out to the prong's outer side: {mm} mm are left",
    ),
    "shank-prong-inside": (
        "the shank's side comes in to the prong's inner side: {mm} mm are left",
        "the shank's side comes out to the prong's inner side: {mm} mm are left",
    ),
}

ALONG = (
    "the hoop's side comes in to the {what}'s, at the {place}: {mm} mm are left",
    "the hoop's side comes out to the {what}'s, at the {place}: {mm} mm are left",
)
"""Where a hoop's flat side would lie along a part: events "hoop-<part>-<place>"."""
PARTS, PLACES = ("cup", "prong"), {"finger": "finger", "top": "hoop's top", "bore's-edge": "bore's edge"}

AS_CAST = "cast-"
"""Begins the names of events that are looked at a second time where the bore is cast smaller, to be polished open."""


def words(name: str, kind: str, distance_mm: float) -> str:
    """The sentence for an event that stands this far away."""
    if name.startswith(AS_CAST):
        return f"in the bore as cast, {words(name.removeprefix(AS_CAST), kind, distance_mm)}"
    mm = f"{abs(distance_mm):.3f}"
    side = 0 if distance_mm >= 0.0 else 1
    part, _, place = name.removeprefix("hoop-").partition("-")
    if kind == "flip" and part in PARTS and place in PLACES:
        return ALONG[side].format(what=part, place=PLACES[place], mm=mm)
    return FLIPS[name][side].format(mm=mm) if kind == "flip" else LIMITS[name].format(mm=mm)
