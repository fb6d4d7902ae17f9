"""Where a rising function is 0, in few evaluations."""

from __future__ import annotations

from collections.abc import Callable


def rising_root(function: Callable[[float], float], low: float, under: float, high: float, over: float) -> float:
    """Where a rising ``function`` is 0 between ``low`` (value ``under`` <= 0) and ``high`` (value ``over`` > 0):
    false position with the value of an end that stays halved (Illinois), and the middle whenever three steps have not
    halved the bracket."""
    width, steps, side = high - low, 0, 0
    while high - low > 1e-16 and low < (middle := (low + high) / 2.0) < high:
        steps += 1
        guess = high - over * (high - low) / (over - under)
        if steps % 3 == 0:
            guess, width = middle if high - low > width / 2.0 else guess, high - low
        guess = guess if low < guess < high else middle
        value = function(guess)
        if abs(value) < 4e-15:  # the rounding of a sum near 2 pi
            return guess
        if value < 0.0:
            low, under, over, side = guess, value, over / 2.0 if side < 0 else over, -1
        else:
            high, over, under, side = guess, value, under / 2.0 if side > 0 else under, 1
    return (low + high) / 2.0
