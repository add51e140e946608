"""Which target an exposure belongs to: by its OBJECT card, else by where it pointed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from nightplan.errors import TargetError
from nightplan.model.catalog import Catalog
from nightplan.sky.angles import separation_deg

_PANEL = re.compile(
    r"^(?P<name>.*\S)[\s_,;-]+(?:panel|pane|tile|p)[\s_#-]*(?P<panel>\d{1,2})\s*$", re.IGNORECASE
)


@dataclass(frozen=True)
class KnownPlace:
    """A place in the sky that the imager works on: a panel's centre, or a target's."""

    target: str
    panel: int
    ra_deg: float
    dec_deg: float


class TargetMatcher:
    """Finds the target of an exposure; asks the catalogue once a name.

    Parameters
    ----------
    catalog : Catalog
    places : sequence of KnownPlace
        Where the imager's framings and targets lie, for exposures without a usable name.
    reach_deg : float
        Largest distance from such a place.
    """

    def __init__(self, catalog: Catalog, places: Sequence[KnownPlace], reach_deg: float) -> None:
        self._catalog = catalog
        self._places = tuple(places)
        self._reach_deg = reach_deg
        self._by_text: dict[str, tuple[str, int] | None] = {}

    def by_name(self, text: str) -> tuple[str, int] | None:
        """Target's name and panel that an OBJECT card means; none if it is not known."""
        if text not in self._by_text:
            self._by_text[text] = self._look_up(text)
        return self._by_text[text]

    def by_place(self, ra_deg: float, dec_deg: float) -> tuple[str, int] | None:
        """Target and panel of the nearest known place within reach."""
        if not self._places:
            return None
        gaps = separation_deg(
            ra_deg,
            dec_deg,
            np.array([place.ra_deg for place in self._places]),
            np.array([place.dec_deg for place in self._places]),
        )
        nearest = int(np.argmin(gaps))
        if gaps[nearest] > self._reach_deg:
            return None
        place = self._places[nearest]
        return place.target, place.panel

    def canonical(self, text: str) -> str:
        """The catalogue's name of a target that a person typed.

        Raises
        ------
        TargetError
            The name is unknown or fits several targets.
        """
        return str(self._catalog.name[self._catalog.find(text)])

    def _look_up(self, text: str) -> tuple[str, int] | None:
        tries = [(text, 1)]
        panel = _PANEL.match(text)
        if panel is not None and int(panel["panel"]) >= 1:
            tries.append((panel["name"], int(panel["panel"])))
        for name, number in tries:
            for spelling in dict.fromkeys((name, name.replace("_", " "))):
                try:
                    return self.canonical(spelling), number
                except TargetError:
                    continue
        return None
