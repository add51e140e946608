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
    """A place in the sky that the imager works on: a framed panel's centre with its train, or a
    target's without one."""

    target: str
    panel: int
    ra_deg: float
    dec_deg: float
    train: str | None = None


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
        self._by_text: dict[str, tuple[str, int | None] | None] = {}

    def by_name(self, text: str) -> tuple[str, int | None] | None:
        """Target's name and panel that an OBJECT card means; none if it is not known.

        The panel is none where the card names none.
        """
        if text not in self._by_text:
            self._by_text[text] = self._look_up(text)
        return self._by_text[text]

    def by_place(self, ra_deg: float, dec_deg: float) -> tuple[str, int] | None:
        """Target and panel of the nearest known place within reach."""
        place = self._nearest(self._places, ra_deg, dec_deg)
        return None if place is None else (place.target, place.panel)

    def panel_at(self, target: str, train: str | None, ra_deg: float, dec_deg: float) -> int | None:
        """The panel of a target's framing whose centre is nearest, within reach."""
        framed = [
            place
            for place in self._places
            if place.target == target and place.train is not None and train in (None, place.train)
        ]
        place = self._nearest(framed, ra_deg, dec_deg)
        return None if place is None else place.panel

    def _nearest(
        self, places: Sequence[KnownPlace], ra_deg: float, dec_deg: float
    ) -> KnownPlace | None:
        if not places:
            return None
        gaps = separation_deg(
            ra_deg,
            dec_deg,
            np.array([place.ra_deg for place in places]),
            np.array([place.dec_deg for place in places]),
        )
        nearest = int(np.argmin(gaps))
        return None if gaps[nearest] > self._reach_deg else places[nearest]

    def canonical(self, text: str) -> str:
        """The catalogue's name of a target that a person typed.

        Raises
        ------
        TargetError
            The name is unknown or fits several targets.
        """
        return str(self._catalog.name[self._catalog.find(text)])

    def _look_up(self, text: str) -> tuple[str, int | None] | None:
        tries: list[tuple[str, int | None]] = [(text, None)]
        panel = _PANEL.match(text)
        if panel is not None and int(panel["panel"]) >= 1:
            tries.append((panel["name"], int(panel["panel"])))
        for name, number in tries:
            for spelling in dict.fromkeys((name, name.replace("_", " "))):
                try:
                    row = self._catalog.find(spelling, whole_name=True)
                    return str(self._catalog.name[row]), number
                except TargetError:
                    continue
        return None
