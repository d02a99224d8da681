"""Comparisons on arrays as recorded steps make them: carried to 12 significant digits, decided without haste.

A single case rounds every step to 12 significant digits, so that no limit is decided by what binary arithmetic leaves
behind. On arrays that would cost more than the calculation. So the rows are worked without rounding first, and every
comparison tells which rows lie so near its limit that rounding might decide; those, few, are worked again with every
step rounded.
"""

from __future__ import annotations

import numpy as np

#: Share of a limit within which a row is worked again: rounded and unrounded chains differ by less than 1e-10.
_NEAR = 1e-9
_DIGITS = 12


def steady_rows(x: np.ndarray) -> np.ndarray:
    """`units.steady` for every number: 12 significant digits.

    What is no finite number stays what it is, and so does what no quantity here is, below 1e-100 or above 1e100. Below
    1e-11 and from 1e12 the last digit may differ by one.
    """
    x = np.asarray(x, float)
    usual = (np.abs(x) > 1e-100) & (np.abs(x) < 1e100)
    size = np.where(usual, np.abs(x), 1.0)
    power = np.floor(np.log10(size))
    power += (size >= 10.0 ** (power + 1)).astype(float) - (size < 10.0 ** power)
    shift = _DIGITS - 1 - power
    # A whole number over (or times) a whole power of ten below 1e23 is the nearest float to the decimal number.
    up, down = 10.0 ** np.maximum(shift, 0), 10.0 ** np.maximum(-shift, 0)
    plain = np.where(usual, x, 0.0)
    whole = np.where(down > 1, np.rint(plain / down), _nearest(plain, up))
    return np.where(usual, whole / up * down, x)


def _nearest(x: np.ndarray, factor: np.ndarray) -> np.ndarray:
    """The whole number nearest to the exact product. Half of a rounded number is often half way, and which way it goes
    must not hang on the rounding of the product: its error is worked out by splitting both factors (after Dekker)."""
    product = x * factor
    out = np.rint(product)
    at = np.flatnonzero(np.abs(product - out) == 0.5)
    if len(at):
        (a, b), (c, d), p = _split(x[at]), _split(factor[at]), product[at]
        error = ((a * c - p) + a * d + b * c) + b * d
        out[at] = np.where(error == 0, out[at], np.where(error > 0, np.ceil(p), np.floor(p)))
    return out


def _split(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two numbers of half the digits each that sum to x."""
    big = x * 134217729.0  # 2 to the 27th power, and 1
    high = big - (big - x)
    return high, x - high


class Unrounded:
    """Steps as they come; `near` holds the rows that a comparison could decide otherwise once rounded."""

    exact = False

    def __init__(self) -> None:
        self.near: np.ndarray | None = None

    def steady(self, x: np.ndarray) -> np.ndarray:
        """The step as it is."""
        return x

    def above(self, x: np.ndarray, limit: float | np.ndarray) -> np.ndarray:
        """Whether x > limit."""
        return self._both(x > limit * (1 - _NEAR), x > limit * (1 + _NEAR))

    def below(self, x: np.ndarray, limit: float | np.ndarray) -> np.ndarray:
        """Whether x < limit."""
        return self._both(x < limit * (1 - _NEAR), x < limit * (1 + _NEAR))

    def _both(self, one: np.ndarray, other: np.ndarray) -> np.ndarray:
        if np.count_nonzero(one) != np.count_nonzero(other):
            apart = one != other
            self.near = apart if self.near is None else self.near | apart
        return one


class Rounded:
    """Every step carried to 12 significant digits; comparisons are as they stand."""

    exact = True
    near = None

    def steady(self, x: np.ndarray) -> np.ndarray:
        """The step to 12 significant digits."""
        return steady_rows(x)

    def above(self, x: np.ndarray, limit: float | np.ndarray) -> np.ndarray:
        """Whether x > limit."""
        return x > limit

    def below(self, x: np.ndarray, limit: float | np.ndarray) -> np.ndarray:
        """Whether x < limit."""
        return x < limit


How = Unrounded | Rounded
