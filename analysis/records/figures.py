"""A number as a person writes it: so many digits, and never a power of ten."""

import math


def figure(number: float, digits: int = 2) -> str:
    """A number rounded to so many digits: `0.25`, `2.4`, `12`, `1,300`, never `1.3e+03`."""
    if not number or not math.isfinite(number):
        return f"{number:.0f}"
    rounded = float(f"{number:.{digits - 1}e}")
    decimals = max(digits - 1 - math.floor(math.log10(abs(rounded))), 0)
    written = f"{rounded:,.{decimals}f}"
    return written.rstrip("0").rstrip(".") if decimals else written
