"""Which target a name means: designations, common names and their parts, nicknames."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

from numpy.typing import NDArray

from nightplan.errors import FileError, TargetError
from nightplan.model.catalog_files import catalog_folder
from nightplan.model.name_lookup import (
    is_kind_word,
    kind_suits,
    name_words,
    near_names,
    normalise,
    stem,
)
from nightplan.shown import piece

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog

LIST_SEPARATOR = ";"

_MOST_LISTED = 6
_MOST_NEAR = 5
_SHORTEST = 3
_LONE_WORD = 5
_BEGINNING = 4
"""Letters that a word, and the beginning of a name, must have to be looked for."""


class Meaning(NamedTuple):
    """The row that a name means, and the rows that it may mean as well."""

    row: int
    others: tuple[int, ...] = ()


class _CommonName(NamedTuple):
    """One common name of one row: its words, without the closing kind, and spelled in one."""

    row: int
    words: tuple[str, ...]
    stem: str


class NameIndex:
    """Names of a catalogue's rows."""

    def __init__(self, catalog: Catalog) -> None:
        self._catalog = catalog

    def meaning(self, text: str, *, whole_name: bool = False) -> Meaning:
        """The target that a name means.

        Any spelling of a designation ("m 31", "NGC0224", "sh 2-129", "Caldwell 20"), a common
        name, any of its words or its end ("andromeda", "jewel box", "trunk"), with or without
        the closing kind and "'s", a beginning of four letters or more, or the label that
        nightplan prints. A kind that is typed must suit: "virgo cluster" is no galaxy. Of several
        that fit equally well the user's own, or the one that the nickname is known for
        (nicknames.csv), is meant, and the others are given with it. With `whole_name` no part
        of a name counts but the whole without its closing kind: for text that nobody typed as a
        target, such as the OBJECT of a file.

        Raises
        ------
        TargetError
            The name is unknown or fits several targets; the error holds what lies near.
        """
        text = " ".join(text.split())
        found = self._meaning(text, whole_name)
        if found is None and "(" in text:
            found = self._meaning(text.split("(", 1)[0], whole_name)
        if found is not None:
            return found
        words, kind = name_words(text)
        other_kind = self._rows_by_words(" ".join(words), "".join(words), False) if kind else []
        near = other_kind + near_names(
            normalise(text), self._famous, self.designations, self._rows_with_digits
        )
        raise TargetError(text, self._labels(list(dict.fromkeys(near))[:_MOST_NEAR]))

    def taken_as(self, text: str, found: Meaning) -> str:
        """What a name that means several targets was taken for, in a sentence; "" of one alone."""
        if not found.others:
            return ""
        others = ", ".join(self._labels(found.others))
        return piece(f"{text} is taken as {self.label(found.row)}, not as {others}.", 600)

    def label(self, row: int) -> str:
        """The name of a row that is printed."""
        return self._catalog.target(row).label

    def _labels(self, rows: Iterable[int]) -> list[str]:
        return [self.label(row) for row in rows]

    def _meaning(self, text: str, whole_name: bool) -> Meaning | None:
        key = normalise(text)
        if not key:
            return None
        if key in self.designations:
            return Meaning(self.designations[key])
        rows = self._rows_by_words(text, key, whole_name)
        named = self._by_nickname(text, key)
        if named is not None:
            return Meaning(named, tuple(row for row in rows if row != named))
        if len(rows) < 2:
            return Meaning(rows[0]) if rows else None
        own = [row for row in rows if self._catalog.origin[row] == "user"]
        if len(own) == 1:
            return Meaning(own[0], tuple(row for row in rows if row != own[0]))
        raise TargetError(text, self._labels(rows[:_MOST_LISTED]), ambiguous=True)

    def _by_nickname(self, text: str, key: str) -> int | None:
        """Row of a nickname, whole or with a closing kind that suits."""
        row = self._nicknames.get(key)
        if row is None and key not in self.common:
            row = self._nicknames.get(stem(text))
            kind = name_words(text)[1]
            if row is not None and not kind_suits(kind, str(self._catalog.kind[row])):
                row = None
        return row

    def _rows_by_words(self, text: str, key: str, whole_name: bool) -> list[int]:
        """Rows by the first of the rules that fits any: the whole name, its stem, a part of it."""
        if key in self.common:
            return self.common[key]
        words, kind = name_words(text)
        if len(key) < _SHORTEST or not words or is_kind_word(key):
            return []
        designation = self.designations.get("".join(words))
        if kind and designation is not None:
            return [designation]
        asked, size = stem(text), len(words)
        together = "".join(words)
        rules = (
            lambda name: asked == name.stem or together == "".join(name.words),
            lambda name: (
                any(name.words[at : at + size] == words for at in range(len(name.words)))
                or (len(key) >= _BEGINNING and key.isalpha() and name.stem.startswith(key))
            ),
        )
        for rule in rules[:1] if whole_name else rules:
            rows = dict.fromkeys(
                name.row
                for name in self._common_names
                if rule(name) and kind_suits(kind, str(self._catalog.kind[name.row]))
            )
            if rows:
                return list(rows)
        return []

    @cached_property
    def designations(self) -> dict[str, int]:
        """Row of each normalised name and cross-identifier; a canonical name goes first."""
        found: dict[str, int] = {}
        for column in (self._catalog.name, self._catalog.identifiers):
            for row, line in enumerate(quick_keys(column)):
                if line:
                    for key in line.split(LIST_SEPARATOR):
                        found.setdefault(key, row)
        return found

    @cached_property
    def common(self) -> dict[str, list[int]]:
        """Rows of each normalised common name."""
        found: dict[str, list[int]] = {}
        for text, row in self._common_texts:
            rows = found.setdefault(normalise(text), [])
            if row not in rows:
                rows.append(row)
        return found

    @cached_property
    def _common_texts(self) -> list[tuple[str, int]]:
        found = [
            (text, row)
            for row, line in enumerate(self._catalog.common_names)
            if line
            for text in line.split(LIST_SEPARATOR)
        ]
        # a field's own name ("Markarian's Chain") is one of words too
        return found + [
            (name, row)
            for row, name in enumerate(self._catalog.name)
            if not any(sign.isdigit() for sign in name)
        ]

    @cached_property
    def _common_names(self) -> list[_CommonName]:
        found = []
        for text, row in self._common_texts:
            words, _ = name_words(text)
            found.append(_CommonName(row, words, stem(text)))
        return found

    @cached_property
    def _nicknames(self) -> dict[str, int]:
        """Row of each nickname of nicknames.csv whose target is in the catalogue."""
        path = catalog_folder() / "nicknames.csv"
        try:
            with path.open(encoding="utf-8", newline="") as stream:
                rows = list(csv.DictReader(line for line in stream if not line.startswith("#")))
        except (OSError, ValueError) as error:
            raise FileError(path, f"the bundled nicknames cannot be read: {error}") from error
        found = {}
        for cells in rows:
            row = self.designations.get(normalise(cells["target"]))
            if row is not None:
                found[normalise(cells["nickname"])] = row
        return found

    @cached_property
    def _famous(self) -> list[tuple[str, int]]:
        """Names that people type, for near misses: common, Messier, Caldwell, large targets."""
        famous = list(self._nicknames.items())
        famous += [(key, row) for key, rows in self.common.items() for row in rows]
        for name in self._common_names:
            famous += [(name.stem, name.row), ("".join(name.words), name.row)]
        for key, row in self.designations.items():
            plain = self._catalog.origin[row] == "openngc"
            if not plain or (key[0] in "mc" and key[1:].isdigit()):
                famous.append((key, row))
        # a lone word of a name comes last, so that of two as near the whole name is offered first
        famous += [
            (word, name.row)
            for name in self._common_names
            for word in name.words
            if len(word) >= _LONE_WORD
        ]
        return list(dict.fromkeys(famous))

    def _rows_with_digits(self, digits: str) -> list[int]:
        """Rows whose designation ends in these digits behind its letters, best known first."""
        order = ("m", "ngc", "ic", "sh2-", "c", "b", "ldn", "vdb", "lbn")
        found = []
        for key, row in self.designations.items():
            if key.endswith(digits):
                letters = key[: -len(digits)]
                if letters in order:
                    found.append((order.index(letters), row))
        return [row for _, row in sorted(found)]


def join_words(words: Sequence[str], names: NameIndex) -> list[str]:
    """Names among words that a shell has parted: ``["M", "33", "veil"]`` -> ``["M 33", "veil"]``.

    Words that together are one name are read so, the most words first; a word that holds a space
    was quoted and stays as it is. What is no name is left as the shell gave it, but for letters
    before a number.
    """
    found: list[str] = []
    at = 0
    while at < len(words):
        end = at + 1
        for stop in range(min(len(words), at + _MOST_LISTED), at + 1, -1):
            parts = words[at:stop]
            if not any(" " in part for part in parts) and _is_name(" ".join(parts), names):
                end = stop
                break
        else:
            alone = words[at].isalpha() and not _is_name(words[at], names)
            if alone and at + 1 < len(words) and words[at + 1][:1].isdigit():
                end = at + 2
        found.append(" ".join(words[at:end]))
        at = end
    return found


def _is_name(text: str, names: NameIndex) -> bool:
    try:
        names.meaning(text)
    except TargetError as error:
        return error.ambiguous
    return True


_PLAIN = re.compile(r"(?!.* \+ )(?!.*\D0\d)[A-Za-z]{1,4}\d?[ \-][\d+\-GNED .;A-Za-z]*\d[A-Z]{0,2}")


def quick_keys(column: NDArray[Any]) -> list[str]:
    """`normalise` of designations as the catalogue spells them, all at once.

    They are ASCII, without leading zeros, and their catalogue is abbreviated; anything else in
    the column (a user's name) goes through `normalise` itself.
    """
    text = "\n".join(column).lower()
    text = re.sub(r"(?<=\d) (?=\d)", "-", text)
    text = text.replace("+", "p").replace(".", "-").replace(" ", "")
    text = re.sub(r"(?<=[a-z])-(?=\d)", "", text)
    keys = text.split("\n")
    for row, line in enumerate(column):
        if line and not _PLAIN.fullmatch(line):
            keys[row] = LIST_SEPARATOR.join(normalise(part) for part in line.split(LIST_SEPARATOR))
    return keys
