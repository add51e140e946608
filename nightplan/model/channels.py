"""What the subs through each filter are counted towards.

A filter on a mono camera makes one picture. A colour camera makes several at once: red, green and
blue through a filter for all visible light, a line by its own pixels through a filter of several
bands. Each of them is a *channel*, and has a goal of its own. Where a filter has one channel, the
channel is called as the filter is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, NamedTuple

from nightplan.model.camera import COLOURS, ColourSensor, value_at
from nightplan.model.filter_roles import ROLES, Role, broad_roles, narrow_roles
from nightplan.model.filters import Filter

if TYPE_CHECKING:
    from nightplan.model.config import Config

SEES_IT = 0.3
"""Pixels that see a line at this share of what the best pixels see count towards it: less would
add more noise than light (common practice, no source)."""


class Channel(NamedTuple):
    """One picture that the subs through a filter make.

    `centre_nm` and `width_nm` are those of its band; `colours` are those of the pixels that it is
    made from, none for a mono sensor.
    """

    name: str
    filter: str
    role: Role
    centre_nm: float
    width_nm: float
    colours: tuple[str, ...] = ()

    @property
    def is_narrow(self) -> bool:
        """Whether it is the picture of an emission line."""
        return ROLES[self.role].is_narrow

    @property
    def line_nm(self) -> float | None:
        """Rest wavelength in air of its line, nm; none for a broadband one."""
        return ROLES[self.role].line_nm


def channels_of(colour: ColourSensor | None, filters: Mapping[str, Filter]) -> dict[str, Channel]:
    """Channels by name, in the order of the filters."""
    return {
        one.name: one for name, item in filters.items() for one in _of_filter(colour, name, item)
    }


def _of_filter(colour: ColourSensor | None, name: str, item: Filter) -> list[Channel]:
    if colour is None:
        return [Channel(name, name, item.role, item.centre_nm, item.width_nm)]
    if item.role == "luminance":
        return [
            Channel(f"{name} {role}", name, role, _middle_nm(colour, role, item), 100.0, (role,))
            for role in broad_roles()
            if role in COLOURS
        ]
    if item.role in COLOURS:
        return [Channel(name, name, item.role, item.centre_nm, item.width_nm, (item.role,))]
    found: dict[tuple[str, ...], Channel] = {}
    bands = ((item.centre_nm, item.width_nm, item.peak_transmission), *item.more_bands)
    for number, (centre_nm, width_nm, _) in enumerate(bands):
        role = item.role if number == 0 else _line_in(centre_nm, width_nm)
        if role is not None:
            pixels = _seeing(colour, ROLES[role].line_nm or centre_nm)
            # Lines that the same pixels see are one picture: that of the first.
            found.setdefault(pixels, Channel(name, name, role, centre_nm, width_nm, pixels))
    if len(found) == 1:
        return list(found.values())
    return [one._replace(name=f"{name} {one.role}") for one in found.values()]


def _line_in(centre_nm: float, width_nm: float) -> Role | None:
    """The line that a band holds, if any."""
    inside = (role for role in narrow_roles()
              if abs((ROLES[role].line_nm or 0.0) - centre_nm) <= width_nm / 2.0)  # fmt: skip
    return next(inside, None)


def _seeing(colour: ColourSensor, line_nm: float) -> tuple[str, ...]:
    """Colours of the pixels that see a line well enough."""
    seen = {name: value_at(getattr(colour, name), line_nm) for name in COLOURS}
    return tuple(name for name in COLOURS if seen[name] >= SEES_IT * max(seen.values()))


def _middle_nm(colour: ColourSensor, role: str, item: Filter) -> float:
    """Mean wavelength of what a colour's pixels see through a broad filter, nm."""
    steps = [item.low_nm + item.width_nm * (k + 0.5) / 64 for k in range(64)]
    seen = [value_at(getattr(colour, role), nm) for nm in steps]
    total = sum(seen)
    return sum(nm * one for nm, one in zip(steps, seen, strict=True)) / total if total else 550.0


def channels_by_filter(config: Config) -> dict[str, list[str]]:
    """Names of each filter's channels."""
    found: dict[str, list[str]] = {}
    for name, one in config.channel.items():
        found.setdefault(one.filter, []).append(name)
    return found


def at_once(config: Config, hours: Mapping[str, float]) -> float:
    """Hours of channels, by name, over the hours of the subs that bring them: 1 where each filter
    has one channel, up to 3 where each sub counts for three."""
    subs_h: dict[str, float] = {}
    for name, value in hours.items():
        own = config.channel[name].filter
        subs_h[own] = max(subs_h.get(own, 0.0), value)
    if len(subs_h) == len(hours):
        return 1.0
    return sum(hours.values()) / sum(subs_h.values())
