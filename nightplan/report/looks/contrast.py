"""How well a colour can be read on another (W3C WCAG 2.2, contrast ratio)."""

from __future__ import annotations

TEXT = 4.5
"""Least contrast of text (WCAG 2.2, success criterion 1.4.3)."""


def contrast(one: str, two: str) -> float:
    """Contrast ratio of two ``#rrggbb`` colours, 1 to 21 (W3C WCAG 2.2, contrast ratio)."""
    light, dark = sorted((_luminance(one), _luminance(two)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def legible(colour: str, ground: str, least: float = TEXT) -> str:
    """The colour, or the nearest shade of it that text on `ground` can have.

    On a light ground it is darkened, on a dark one it is lightened; what is red alone stays red
    alone, so at the most it becomes ``#FF0000`` (5.25 to 1 on black).
    """
    parts = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    lighter = _luminance(ground) < 0.18  # above it, black stands out more than white
    red_alone = parts[1] == parts[2] == 0
    ends = ([255, 0, 0] if red_alone else [255, 255, 255]) if lighter else [0, 0, 0]
    for step in range(41):
        mixed = (a + (b - a) * step / 40.0 for a, b in zip(parts, ends, strict=True))
        shade = "#" + "".join(f"{round(part):02X}" for part in mixed)
        if contrast(shade, ground) >= least:
            return shade
    return shade


def ink_on(ground: str) -> str:
    """Black or white, whichever stands out more on a ``#rrggbb`` ground."""
    return max(("#000000", "#FFFFFF"), key=lambda ink: contrast(ink, ground))


def _luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (W3C WCAG 2.2, relative luminance)."""
    channels = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
