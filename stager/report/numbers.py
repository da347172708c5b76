"""Numbers as text for people: digits, speeds, per cent, counts, lists of words."""

from __future__ import annotations

import math

from stager.model.arrays import hundredths_down

MISSING = "-"
"""Text of a value that is not known or does not apply."""


def digits(value: float | None, significant: int = 3) -> str:
    """Return a value to `significant` digits; MISSING for None and NaN.

    Digits before the decimal point are never rounded away.

    >>> digits(12.3456), digits(1234.5), digits(0.00012345), digits(9.9996)
    ('12.3', '1234', '0.000123', '10.0')
    """
    if value is None or math.isnan(value):
        return MISSING
    if math.isinf(value):
        return "unlimited" if value > 0 else "none"
    if value == 0:
        return "0"
    exponent = int(f"{value:.{significant - 1}e}".partition("e")[2])
    if exponent < -4:
        return f"{value:.{significant - 1}e}"
    return f"{value:.{max(0, significant - 1 - exponent)}f}"


def speed(value: float | None) -> str:
    """Return a speed [m/s] to 0.01 m/s, as a chronograph shows it."""
    return MISSING if value is None or math.isnan(value) else f"{round(value, 2) + 0.0:.2f}"


def speed_to_set(value: float | None) -> str:
    """Return a wheel speed to set [m/s] to 0.01 m/s, rounded down, as advice goes beyond no limit."""
    return MISSING if value is None or math.isnan(value) else hundredths_down(value)


def sides(side_a: float, side_b: float | None) -> str:
    """Return the speed of a stage's wheels [m/s], A:B where they differ."""
    return speed(side_a) if side_b in (None, side_a) else f"{speed(side_a)}:{speed(side_b)}"


def percent(share: float | None, decimals: int = 1) -> str:
    """Return a share as per cent, without decimals from 100 % on.

    >>> percent(0.0123), percent(-1e-9), percent(12.3)
    ('1.2 %', '0.0 %', '1230 %')
    """
    if share is None or math.isnan(share):
        return MISSING
    if math.isinf(share):
        return "unlimited"
    places = 0 if abs(share) >= 1 else decimals
    return f"{round(100 * share, places) + 0.0:.{places}f} %"


def signed(share: float | None) -> str:
    """Return a relative difference as per cent with its sign.

    >>> signed(0.0123), signed(-0.2), signed(-0.0001)
    ('+1.2 %', '-20.0 %', '0.0 %')
    """
    if share is None or math.isnan(share):
        return MISSING
    text = f"{100 * share:+.1f} %"
    return text[1:] if text[1:] == "0.0 %" else text


def small_percent(share: float) -> str:
    """Return a share as per cent to 0.01 %, for small losses.

    >>> small_percent(0.0123), small_percent(2.2e-9), small_percent(-1e-9)
    ('1.23 %', 'less than 0.01 %', '0.00 %')
    """
    if 0 < share < 5e-5:
        return "less than 0.01 %"
    return f"{round(100 * share, 2) + 0.0:.2f} %"


def about(count: float) -> str:
    """Return a count, from 100 on to two digits with a space between thousands.

    >>> about(106759.2), about(87.4), about(1234)
    ('110 000', '87', '1 200')
    """
    if count < 100:
        return f"{count:.0f}"
    return f"{float(f'{count:.2g}'):,.0f}".replace(",", " ")


def plural(count: int, noun: str) -> str:
    """Return a count with its noun: "1 stage", "3 stages"."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def listing(words: list[str]) -> str:
    """Join words as in a sentence: "a, b and c"."""
    return " and ".join(words) if len(words) < 3 else f"{', '.join(words[:-1])} and {words[-1]}"
