"""Why a target stands where it does: what it offers, and what held it back most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from nightplan.number_forms import percent

if TYPE_CHECKING:
    from nightplan.planning.choosing.selection import RankedTarget

WHOLE = 0.995
"""Share of a target from which one field holds it, in words."""
HARDLY = 0.9
"""Share of the best of the list from which a factor holds nothing back."""

_FACTORS = {
    "time": "the time that it is within the limits",
    "sky": "moonlight, twilight or altitude in its leading filter",
    "framing": "how little of the field it fills",
    "contrast": "how little it stands out of the sky",
}


def with_reasons(
    listed: Sequence[RankedTarget], ranked: Sequence[RankedTarget], window_hours: float
) -> tuple[RankedTarget, ...]:
    """Each listed entry with its reason, beside all that were ranked, however many are listed.

    What held a target back most is the factor of its score that is lowest beside the best of the
    same factor in the ranking: a dark night's few hours hold back all alike, and so none.
    """
    factors = [_factors(entry, window_hours) for entry in ranked]
    best = {name: max((own[name] for own in factors), default=0.0) for name in _FACTORS}
    told = []
    for entry in listed:
        own = _factors(entry, window_hours)
        beside = {name: value / best[name] for name, value in own.items() if best[name] > 0.0}
        told.append(replace(entry, why=_words(entry, own, beside)))
    return tuple(told)


def _factors(entry: RankedTarget, window_hours: float) -> dict[str, float]:
    return {
        "time": min(1.0, entry.hours / window_hours) if window_hours > 0.0 else 0.0,
        "sky": entry.equivalent_h / entry.hours if entry.hours > 0.0 else 0.0,
        "framing": entry.score_parts["framing"],
        "contrast": entry.score_parts["contrast"],
    }


def _named(entry: RankedTarget, factor: str) -> str:
    if factor == "framing" and entry.panels > 1:
        return "the hours of its panels"
    if factor == "framing" and entry.coverage < WHOLE:
        return "what one field cuts of it"
    return _FACTORS[factor]


def _words(entry: RankedTarget, own: dict[str, float], beside: dict[str, float]) -> str:
    words = [
        f"{entry.hours:.1f} h within all limits, in {entry.leading_filter} as good as "
        f"{entry.equivalent_h:.1f} h at a moonless zenith ({percent(own['sky'])})"
    ]
    if entry.panels > 1:
        words.append(f"{entry.panels} panels with the {entry.train}")
    elif entry.coverage < WHOLE:
        words.append(f"one field of the {entry.train} covers {percent(entry.coverage)}")
    else:
        words.append(f"one field of the {entry.train} holds it")
    if entry.subject:
        words[-1] += f", with {', '.join(entry.subject[:3])}"
    if entry.score_parts["begun"] > 1.0:
        words.append("begun, so it leads")
    weakest = min(beside, key=lambda name: beside[name])
    if beside[weakest] >= HARDLY:
        words.append("nothing holds it back beside the others")
    else:
        share = 100.0 * beside[weakest]
        words.append(
            f"held back most by {_named(entry, weakest)}: {share:.0f} % of the best of the list"
        )
    return "; ".join(words) + "."
