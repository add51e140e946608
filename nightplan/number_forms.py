"""How figures are written in every text: one minus sign, one form of a share."""

from __future__ import annotations

MINUS = "\N{MINUS SIGN}"


def number(value: float, most: int = 1) -> str:
    """A number with at most `most` decimals, without trailing zeros, never ``-0``."""
    text = f"{value:.{most}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text.replace("-", MINUS)


def signed(value: float, decimals: int = 1) -> str:
    """A number with its sign in front: ``+3.0``, ``−0.7``."""
    return f"{value:+.{decimals}f}".replace("-", MINUS)


def percent(share: float, *, plain: bool = False) -> str:
    """A share of 0 to 1 as ``45 %``; never 0 or 100 unless it is (nearly) so, or `plain`."""
    value = 100.0 * share
    if plain:
        return f"{value:.0f} %"
    if 0.0 < value < 1.0:
        return "under 1 %"
    if 99.0 < value < 99.95:
        return "over 99 %"
    return f"{value:.0f} %"
