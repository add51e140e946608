"""Which filters a target deserves, and how its wanted hours are shared over them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from nightplan.model.filters import Filter, Role
from nightplan.model.goals import goal_for

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target

SPEED_OF_LIGHT_KM_S = 299_792.458

# Shares of the whole goal by kind of target, normalised over the filters that the wheel has; common
# practice, no source. They lie close together on purpose: the plan weighs each filter of a target
# alike, so a filter that wants a few minutes only would come before those that carry the picture.
# Of the lines H-alpha is the brightest nearly everywhere and needs the least. The first of a kind
# carries its picture.
_CONTINUUM: dict[Role, float] = {"luminance": 0.31, "red": 0.23, "green": 0.23, "blue": 0.23}
_STARS_ONLY: dict[Role, float] = {"luminance": 0.25, "red": 0.25, "green": 0.25, "blue": 0.25}
_EMISSION: dict[Role, float] = {"H-alpha": 0.3, "O III": 0.35, "S II": 0.35}
_PLANETARY: dict[Role, float] = {"O III": 0.55, "H-alpha": 0.45}

SHARES_BY_KIND: dict[str, dict[Role, float]] = {
    "galaxy": {**_CONTINUUM, "H-alpha": 0.15},
    "galaxy_group": _CONTINUUM,
    "reflection_nebula": _CONTINUUM,
    "dark_nebula": _CONTINUUM,
    "emission_nebula": _EMISSION,
    "supernova_remnant": _EMISSION,
    "cluster_with_nebula": _EMISSION,
    "planetary_nebula": _PLANETARY,
    "open_cluster": _STARS_ONLY,
    "globular_cluster": _STARS_ONLY,
    "star_field": _STARS_ONLY,
    "other": _CONTINUUM,
}
STAR_COLOURS: tuple[Role, ...] = ("red", "green", "blue")

# Share of the configured goal hours that a kind can put to use; common practice, no source:
# stars are bright, so a cluster is done in a part of the time that faint dust asks for, and a
# galaxy's disc gathers faster through broad filters than a nebula does line by line.
HOURS_BY_KIND: dict[str, float] = {
    "galaxy": 0.8,
    "galaxy_group": 0.8,
    "open_cluster": 0.25,
    "globular_cluster": 0.3,
    "star_field": 0.3,
    "planetary_nebula": 0.8,
}


@dataclass(frozen=True)
class WantedFilter:
    """One filter that a target deserves.

    Attributes
    ----------
    filter : str
        Name of the filter in the configuration.
    share : float
        Share of the target's whole goal, 0 to 1; the shares of a target sum to 1.
    goal_h : float
        Wanted equivalent hours.
    """

    filter: str
    share: float
    goal_h: float


def line_is_inside(filter_: Filter, radial_velocity_km_s: float) -> bool:
    """Whether the filter's line, moved by a radial velocity, stays in the half-maximum band.

    The shift is the non-relativistic v/c (under 0.2 nm from exact below 5000 km/s).
    """
    line_nm = filter_.line_nm
    if line_nm is None:
        return True
    moved_nm = line_nm * (1.0 + radial_velocity_km_s / SPEED_OF_LIGHT_KM_S)
    return abs(moved_nm - filter_.centre_nm) <= filter_.width_nm / 2.0


def wanted_filters(config: Config, target: Target) -> tuple[WantedFilter, ...]:
    """The filters of this wheel that a target deserves, in the wheel's order.

    Galaxies get H-alpha where their radial velocity leaves the line inside the passband, and not
    where the velocity is unknown. A goal in the configuration replaces the shares by kind.
    What shines in lines gets R, G and B for its stars as far as `preferences.star_colour_share`
    asks for it. A wheel that lacks every filter of the kind's list gets all that it has, in equal
    shares.
    """
    goal = goal_for(config, target)
    if goal is not None and (goal.hours or goal.snr):
        # Hours for a wanted signal to noise follow from the photon budget; 1 h holds the place.
        asked = {**dict.fromkeys(goal.snr, 1.0), **goal.hours}
        total = sum(asked.values())
        return tuple(
            WantedFilter(name, asked[name] / total, asked[name])
            for name in config.filter
            if name in asked
        )
    shares = shares_of(target.kind, bool(target.lines))
    held = {item.role for item in config.filter.values()}
    if "luminance" not in shares and held & shares.keys():
        stars = config.preferences.star_colour_share
        shares = {**shares, **dict.fromkeys(STAR_COLOURS, stars / (1.0 - 3.0 * stars))}
    velocity = target.radial_velocity_km_s
    weights: dict[str, float] = {}
    for name, filter_ in config.filter.items():
        weight = shares.get(filter_.role, 0.0)
        if filter_.is_narrow and target.kind == "galaxy" and velocity is None:
            weight = 0.0
        if filter_.is_narrow and velocity is not None and not line_is_inside(filter_, velocity):
            weight = 0.0
        if weight > 0.0:
            weights[name] = weight
    if not weights:
        weights = dict.fromkeys(config.filter, 1.0)
    total = sum(weights.values())
    hours = goal_hours(config, target.kind)
    return tuple(
        WantedFilter(name, weight / total, hours * weight / total)
        for name, weight in weights.items()
    )


def goal_hours(config: Config, kind: str) -> float:
    """Equivalent hours, of all filters together, wanted for a kind of target by default."""
    return config.preferences.goal_hours * HOURS_BY_KIND.get(kind, 1.0)


def shares_of(kind: str, has_lines: bool = True) -> dict[Role, float]:
    """Shares of the whole goal by filter role for a kind of target.

    A cluster in a nebula that is not known for emission lines is lit dust.
    """
    if kind == "cluster_with_nebula" and not has_lines:
        kind = "reflection_nebula"
    return SHARES_BY_KIND.get(kind, SHARES_BY_KIND["other"])


def leading_role(kind: str, has_lines: bool = True) -> Role:
    """The role of the filter that carries a kind's picture, for ranking."""
    return next(iter(shares_of(kind, has_lines)))
