"""Which target and filter an exposure belongs to: by its cards, else by where it pointed."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from nightplan.errors import TargetError
from nightplan.model.catalog import Catalog
from nightplan.model.filter_roles import ROLES, Role
from nightplan.plane.rectangles import to_rectangle_axes
from nightplan.sky.angles import separation_deg
from nightplan.sky.tangent_plane import project

_PANEL = re.compile(
    r"^(?P<name>.*\S)[\s_,;-]+(?:panel|pane|tile|p)[\s_#-]*(?P<panel>\d{1,2})\s*$", re.IGNORECASE
)


@dataclass(frozen=True)
class KnownPlace:
    """A place in the sky that the imager works on: a framed panel's centre with its train and the
    half sides and angle of its field, or a target's without them."""

    target: str
    panel: int
    ra_deg: float
    dec_deg: float
    train: str | None = None
    half_sides_deg: tuple[float, float] | None = None
    position_angle_deg: float = 0.0

    def holds(self, ra_deg: float, dec_deg: float) -> bool:
        """Whether the framed field holds a place; false without a field."""
        if self.half_sides_deg is None or separation_deg(
            self.ra_deg, self.dec_deg, ra_deg, dec_deg
        ) > sum(self.half_sides_deg):
            return False
        plane = np.array(project(ra_deg, dec_deg, self.ra_deg, self.dec_deg))
        along, across = np.abs(to_rectangle_axes(plane, self.position_angle_deg))
        long_half, short_half = np.tan(np.radians(self.half_sides_deg))
        return bool(along <= long_half and across <= short_half)


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

    def add_places(self, places: Mapping[tuple[str, int], KnownPlace]) -> None:
        """Add what lights of the same folder were taken of."""
        self._places += tuple(places.values())

    def by_place(self, ra_deg: float, dec_deg: float) -> tuple[str, int] | None:
        """Target and panel of the framed field that holds a place (of several the one whose middle
        is nearest), else of the nearest known place within reach."""
        held = [place for place in self._places if place.holds(ra_deg, dec_deg)]
        place = self._nearest(held or self._places, ra_deg, dec_deg)
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

        Raises TargetError (the name is unknown or fits several targets).
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


class Roled(Protocol):
    """What is needed of `nightplan.model.filters.Filter`."""

    @property
    def role(self) -> Role: ...


_ROLE_OF = {word: name for name, role in ROLES.items() for word in role.spellings}


def plain(text: str) -> str:
    """Lower-case letters and digits of a filter's name, Greek alpha spelled out."""
    text = text.replace("α", "alpha").replace("Α", "alpha")
    text = unicodedata.normalize("NFKD", text).casefold()
    return re.sub(r"[^a-z0-9]", "", text)


def role_of(text: str) -> Role | None:
    """The role that a filter's name spells, widths such as "3nm" left out; none if unclear."""
    without_width = re.sub(r"\d+(?:\.\d+)?\s*nm", " ", text, flags=re.IGNORECASE)
    words = [plain(word) for word in re.split(r"[\s_()\[\],;/]+", without_width) if plain(word)]
    whole = _ROLE_OF.get("".join(words))
    if whole is not None:
        return whole
    spelled = {_ROLE_OF[word] for word in words if word in _ROLE_OF}
    return spelled.pop() if len(spelled) == 1 else None


def match_filter(text: str, filters: Mapping[str, Roled]) -> str | None:
    """Name of the wheel's filter that a header's text means; none if there is none, or several.

    The exact name leads, then the name in any spelling, then the role, if one filter alone has
    it.
    """
    if text in filters:
        return text
    same = [name for name in filters if plain(name) == plain(text) and plain(text)]
    if len(same) == 1:
        return same[0]
    role = role_of(text)
    fitting = [name for name, item in filters.items() if item.role == role]
    return fitting[0] if role is not None and len(fitting) == 1 else None
