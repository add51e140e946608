"""One gain and sub length for L, R, G and B, one for narrow filters, and what that tidiness costs.

Darks belong to a gain and a length, so a night with two of them owes two sets. Of all pairs of gain
and round length that keep every filter's bounds the one is taken with which the class loses least
against each filter at its own best. A filter's own `gain` and `sub_s` are kept exactly; the bounds
that they break are named, and nothing else changes by them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from nightplan.light.sub_length import (
    SubChoice,
    SubLimits,
    broken_bounds,
    choose_sub,
    overhead_floor_s,
    saturation_level_e,
    saturation_s,
    shortest_useful_s,
)

if TYPE_CHECKING:
    from nightplan.model.config import Config

SAME_SPEED_SHARE = 0.02
"""Gains within this share of the fastest count as equal; the one with the most room wins."""

DARKS_AT_HAND_SHARE = 0.03
"""A dark set at hand is used where that costs at most this share more time (ours)."""

LUMINANCE_WEIGHT = 3.0
"""L gets three times the hours of a colour (the recipe LRGB), and counts so in the choice."""


@dataclass(frozen=True)
class FilterLoad:
    """What fills a pixel through one filter, e-/s: sky and dark current, and the brightest pixel
    of a star that must not saturate; and the longest sub that tracking holds."""

    background_e_s: float
    star_peak_e_s: float
    longest_tracked_s: float


@dataclass(frozen=True)
class SubSetting:
    """Gain and sub length of one filter.

    Attributes
    ----------
    gain, sub_s, bound
        `bound` names what decided the length (`nightplan.light.sub_length.BOUNDS`).
    read_noise_e, saturation_e
        Of the gain.
    limits : SubLimits
        Of the filter itself at that gain.
    decided_by : str
        The filter whose bound it is: another one where the class shares its length.
    pinned : bool
        The length is the user's own.
    broken : tuple of str
        Bounds that it breaks.
    tidiness_cost : float
        Share of time that it takes longer to a signal to noise than the filter at its own best.
    """

    gain: str
    sub_s: float
    bound: str
    read_noise_e: float
    saturation_e: float
    limits: SubLimits
    decided_by: str
    pinned: bool = False
    broken: tuple[str, ...] = ()
    tidiness_cost: float = 0.0


def between_subs_s(config: Config) -> float:
    """Mean time between two subs: the download and this sub's share of a dither, s."""
    dither = config.preferences.dither
    return config.camera.download_s + dither_s(config) / dither.every_subs


def dither_s(config: Config) -> float:
    """One dither with its settling, s."""
    settle = config.guider.settle_s if config.guider is not None else 0.0
    return config.preferences.dither.move_s + settle


def sub_settings(config: Config, loads: Mapping[str, FilterLoad]) -> dict[str, SubSetting]:
    """Gain and length of every filter, in the order of `loads`."""
    options = {
        name: {gain: _option(config, name, gain, load) for gain in config.camera.gain}
        for name, load in loads.items()
    }
    settings: dict[str, SubSetting] = {}
    for narrow in (False, True):
        own = {
            name: by_gain
            for name, by_gain in options.items()
            if config.filter[name].is_narrow == narrow
        }
        if own:
            settings |= _of_class(config, loads, own, narrow)
    return {name: settings[name] for name in loads}


def _option(config: Config, name: str, gain: str, load: FilterLoad) -> SubSetting:
    """A filter at one gain, at its own length."""
    wish, camera, item = config.preferences.sub, config.camera, config.camera.gain[gain]
    level = saturation_level_e(item.full_well_e, item.e_per_adu, camera.bits)
    dither = config.preferences.dither
    overhead = overhead_floor_s(
        camera.download_s, dither_s(config), dither.every_subs, wish.overhead_share
    )
    limits = SubLimits(
        read_noise_s=float(
            shortest_useful_s(item.read_noise_e, load.background_e_s, wish.extra_noise)
        ),
        overhead_s=overhead,
        user_minimum_s=wish.shortest_s,
        saturation_s=float(saturation_s(level, load.star_peak_e_s, load.background_e_s)),
        guiding_s=load.longest_tracked_s,
        user_maximum_s=wish.longest_s,
    )
    choice = choose_sub(limits, wish.lengths_s)
    return SubSetting(gain, choice.sub_s, choice.bound, item.read_noise_e, level, limits, name)


def _speed(setting: SubSetting, load: FilterLoad, between_s: float) -> float:
    """(S/N)² of a faint target per second on the clock, over a constant of the filter.

    1 / (s + R²/t) × t / (t + o): the gain that makes it largest reaches a wanted S/N first.
    """
    t = setting.sub_s
    noise2 = load.background_e_s + setting.read_noise_e**2 / t
    return t / (t + between_s) / noise2


def _of_class(
    config: Config,
    loads: Mapping[str, FilterLoad],
    options: Mapping[str, Mapping[str, SubSetting]],
    narrow: bool,
) -> dict[str, SubSetting]:
    between_s, wish = between_subs_s(config), config.preferences.sub
    best = {
        name: max(_speed(one, loads[name], between_s) for one in by_gain.values())
        for name, by_gain in options.items()
    }

    def longer(settings: Mapping[str, SubSetting]) -> float:
        """Time to a signal to noise over the best, mean over the class."""
        weights = {
            name: LUMINANCE_WEIGHT if config.filter[name].role == "luminance" else 1.0
            for name in settings
        }
        told = (
            weights[name] * best[name] / _speed(one, loads[name], between_s)
            for name, one in settings.items()
        )
        return sum(told) / sum(weights.values())

    shared = [_shared(config, options, gain) for gain in config.camera.gain]
    shared += [
        at_hand
        for gain, sub_s in config.calibration.dark_library
        if gain in config.camera.gain and (at_hand := _at_hand(options, gain, sub_s)) is not None
    ]
    chosen = _least(shared, [longer(one) for one in shared], len(config.camera.gain))
    class_gain = wish.narrow_gain if narrow else wish.broad_gain
    class_s = wish.narrow_s if narrow else wish.broad_s
    found = {}
    for name, setting in chosen.items():
        item = config.filter[name]
        pinned_gain, pinned_s = item.gain or class_gain, item.sub_s or class_s
        if pinned_gain is not None or pinned_s is not None:
            setting = _pinned(options[name], setting, pinned_gain, pinned_s)  # noqa: PLW2901
        cost = best[name] / _speed(setting, loads[name], between_s) - 1.0
        found[name] = replace(
            setting,
            broken=broken_bounds(setting.limits, setting.sub_s) if setting.pinned else (),
            tidiness_cost=max(0.0, cost),
        )
    return found


def _shared(
    config: Config, options: Mapping[str, Mapping[str, SubSetting]], gain: str
) -> dict[str, SubSetting]:
    """All filters of a class at one gain and the length that suits them together."""
    every = {name: by_gain[gain] for name, by_gain in options.items()}
    strictest = {
        key: pick(every, key=lambda name: getattr(every[name].limits, key))
        for key, pick in (
            ("read_noise_s", max), ("overhead_s", max), ("user_minimum_s", max),
            ("saturation_s", min), ("guiding_s", min), ("user_maximum_s", min),
        )
    }  # fmt: skip
    limits = SubLimits(**{key: getattr(every[name].limits, key) for key, name in strictest.items()})
    choice = choose_sub(limits, config.preferences.sub.lengths_s)
    return _with_length(every, choice, strictest[f"{choice.bound}_s"])


def _at_hand(
    options: Mapping[str, Mapping[str, SubSetting]], gain: str, sub_s: float
) -> dict[str, SubSetting] | None:
    """The class at a gain and length that darks are at hand for, unless a ceiling forbids it."""
    every = {name: by_gain[gain] for name, by_gain in options.items()}
    if any(set(broken_bounds(one.limits, sub_s)) - {"read_noise"} for one in every.values()):
        return None
    own = next(iter(every.values()))
    return _with_length(every, SubChoice(sub_s, own.bound), next(iter(every)))


def _with_length(
    every: Mapping[str, SubSetting], choice: SubChoice, decided_by: str
) -> dict[str, SubSetting]:
    def limit(name: str) -> float:
        return float(getattr(every[name].limits, f"{choice.bound}_s"))

    return {
        name: replace(
            one,
            sub_s=choice.sub_s,
            bound=choice.bound,
            decided_by=name if limit(name) == limit(decided_by) else decided_by,
        )
        for name, one in every.items()
    }


def _least(
    shared: Sequence[dict[str, SubSetting]], longer: Sequence[float], gains: int
) -> dict[str, SubSetting]:
    """The pair that loses least; of near equals the one with darks, then that with most room."""
    least = min(longer)
    for one, loss in list(zip(shared, longer, strict=True))[gains:]:
        if loss <= least * (1.0 + DARKS_AT_HAND_SHARE):
            return one
    level = [
        one
        for one, loss in zip(shared, longer, strict=True)
        if loss <= least / (1.0 - SAME_SPEED_SHARE)
    ]
    return max(level, key=lambda one: next(iter(one.values())).saturation_e)


def _pinned(
    by_gain: Mapping[str, SubSetting], shared: SubSetting, gain: str | None, sub_s: float | None
) -> SubSetting:
    """The user's own gain, length or both, beside what the class would have.

    A gain alone goes with the class's length where it keeps the filter's ceilings there, else
    with the filter's own at that gain.
    """
    own = by_gain[gain or shared.gain]
    if sub_s is None:
        fits = not set(broken_bounds(own.limits, shared.sub_s)) & {"saturation", "guiding"}
        return replace(own, sub_s=shared.sub_s, bound=shared.bound) if fits else own
    # A length of the user's own is a floor where the program would take less, else a ceiling.
    bound = "user_minimum" if sub_s > own.sub_s else "user_maximum"
    return replace(own, sub_s=sub_s, bound=bound, pinned=True)
