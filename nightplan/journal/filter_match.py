"""Which of the wheel's filters a header means: by its name, else by what it is called for."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import Protocol

from nightplan.model.filters import Role


class Roled(Protocol):
    """What is needed of `nightplan.model.filters.Filter`."""

    @property
    def role(self) -> Role: ...


# Common practice, no source.
_SPELLINGS: dict[Role, tuple[str, ...]] = {
    "luminance": ("l", "lum", "lumi", "luminance", "clear", "clr", "uvir", "uvircut", "ircut"),
    "red": ("r", "red"),
    "green": ("g", "green"),
    "blue": ("b", "blue"),
    "H-alpha": ("ha", "halpha", "hydrogenalpha", "h", "ha656"),
    "O III": ("oiii", "o3", "o", "oxygen", "oxygeniii", "oiii501", "oiii500"),
    "S II": ("sii", "s2", "s", "sulfur", "sulphur", "sulfurii", "sulphurii", "sii672"),
}
_ROLE_OF = {word: role for role, words in _SPELLINGS.items() for word in words}


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
