"""Which pixels of a sensor a filter's picture is made from, and how they see.

Of a mono sensor that is all of them. Of a colour sensor a red, green or blue filter counts in the
pixels of its colour, a filter of a line in those that see the line best (share of the pixels times
efficiency decides the signal to noise under sky noise), and a luminance filter in all, at the mean
of their efficiencies. The other pixels of the same sub are not counted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from nightplan.model.camera import COLOURS, value_at

if TYPE_CHECKING:
    from nightplan.model.config import Config


class Channel(NamedTuple):
    """Efficiency by wavelength (nm, share), and the share of the pixels that have it."""

    efficiency: tuple[tuple[float, float], ...]
    pixel_share: float


def channel_of(config: Config, filter_name: str) -> Channel:
    """The pixels that a filter's picture is made from."""
    camera, item = config.camera, config.filter[filter_name]
    colour = camera.colour
    if colour is None or item.role == "luminance":
        return Channel(camera.quantum_efficiency, 1.0)
    channels = [
        Channel(getattr(colour, name), share)
        for name, share in zip(COLOURS, colour.shares, strict=True)
    ]
    if item.role in COLOURS:
        return channels[COLOURS.index(item.role)]
    line_nm = item.line_nm or item.centre_nm
    return max(channels, key=lambda one: one.pixel_share * value_at(one.efficiency, line_nm))
