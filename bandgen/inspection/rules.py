"""Every rule of the trade that a band is held to: those of the setting, and those of what may be added to it. A new
addition brings its own module of rules, and one line here."""

from __future__ import annotations

from bandgen.inspection import bore, casting, hoop, scallop, setting, shank
from bandgen.inspection.setting import Rule

RULES: tuple[Rule, ...] = (
    *setting.RULES,
    *shank.RULES,
    *hoop.RULES,
    *bore.RULES,
    *scallop.RULES,
    *casting.RULES,
)
