"""The pixels of a sensor that a channel's picture is made from, and how they see.

Of a mono sensor that is all of them. Of a colour sensor it is those of the channel's colours, each
counted alike.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from nightplan.model.camera import COLOURS, weighted_curve

if TYPE_CHECKING:
    from nightplan.model.channels import Channel
    from nightplan.model.config import Config


class Pixels(NamedTuple):
    """Mean efficiency by wavelength (nm, share), and the share of the pixels that have it."""

    efficiency: tuple[tuple[float, float], ...]
    pixel_share: float


def pixels_of(config: Config, channel: Channel) -> Pixels:
    """The pixels that a channel's picture is made from."""
    camera, colour = config.camera, config.camera.colour
    if colour is None:
        return Pixels(camera.quantum_efficiency, 1.0)
    shares = [
        share if name in channel.colours else 0.0
        for name, share in zip(COLOURS, colour.shares, strict=True)
    ]
    total = sum(shares)
    curves = [getattr(colour, name) for name in COLOURS]
    return Pixels(weighted_curve(curves, [share / total for share in shares]), total)
