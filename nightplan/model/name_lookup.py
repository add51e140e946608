"""Forgiving look-up of target names: designations in any spelling, common names, near misses."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence

_GREEK = {
    "α": "alpha", "β": "beta", "γ": "gamma", "δ": "delta", "ε": "epsilon", "ζ": "zeta",
    "η": "eta", "θ": "theta", "ι": "iota", "κ": "kappa", "λ": "lambda", "μ": "mu",
    "ν": "nu", "ξ": "xi", "ο": "omicron", "π": "pi", "ρ": "rho", "σ": "sigma",
    "τ": "tau", "υ": "upsilon", "φ": "phi", "χ": "chi", "ψ": "psi", "ω": "omega",
    "ς": "sigma",
}  # fmt: skip
_GREEK_SIGNS = re.compile("[" + "".join(_GREEK) + "]")

# Spelled-out catalogue names and their other abbreviations; each is followed by a number.
_CATALOGUES = (
    (r"messier", "m"),
    (r"caldwell", "c"),
    (r"new general catalog(?:ue)?", "ngc"),
    (r"index catalog(?:ue)?", "ic"),
    (r"barnard", "b"),
    (r"collinder|col|cl", "cr"),
    (r"melotte", "mel"),
    (r"van den bergh", "vdb"),
    (r"lynds dark nebula", "ldn"),
    (r"lynds bright nebula", "lbn"),
    (r"cederblad", "ced"),
    (r"hickson", "hcg"),
)
_CATALOGUE_RULES = tuple(
    (re.compile(rf"\b(?:{words}) *(?=\d)"), short + " ") for words, short in _CATALOGUES
)
# "Sh2-129", "sh 129" and, as Sharpless's second list ends at 313, "sh2129".
_SHARPLESS = re.compile(r"\b(?:sharpless|sh) *(?:2 +|2(?=\d{3}\b))?(?=\d)")


# Line breaks, letters in lower case and digits are left; all beyond ASCII is sorted by `_plain`.
_ASCII_PUNCTUATION = re.compile(r"[\x00-\x09\x0b-\x2f\x3a-\x60\x7b-\x7f]+")


def normalise(text: str) -> str:
    """Key under which two spellings of one name meet.

    Case, accents, punctuation, spaces, leading zeros, a leading "the" and the spelling of the
    catalogue do not matter; a break between two numbers does, and so does a plus sign before a
    digit. Letters and digits of every script count. Line breaks stay, so that many names can be
    done at once, one a line.

    Examples
    --------
    >>> [normalise(name) for name in ("M 031", "messier 31", "Sh 2-129", "Ptolemy’s Cluster")]
    ['m31', 'm31', 'sh2-129', 'ptolemyscluster']
    """
    text = re.sub("['`]", "", _plain(text))
    if "+" in text or "&" in text:
        text = re.sub(r"\+(?=\d)", "p", text).replace("+", " and ").replace("&", " and ")
    text = _ASCII_PUNCTUATION.sub(" ", text)
    text = re.sub(r"(?<=[a-z])(?=\d)|(?<=\d)(?=[a-z])", " ", text)
    text = re.sub(r"(?<!\d)0+(?=\d)", "", text)
    text = re.sub(r"\bthe ", "", text)
    for rule, short in _CATALOGUE_RULES:
        text = rule.sub(short, text)
    text = _SHARPLESS.sub("sh 2 ", text)
    text = re.sub(r"(?<=\d) (?=\d)", "-", text)
    return text.replace(" ", "")


def _plain(text: str) -> str:
    """Folded case, no accents, Greek letters by name, one kind of apostrophe."""
    if not text.isascii():
        text = "".join(
            sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign)
        )
        text = text.casefold()
        text = _GREEK_SIGNS.sub(lambda match: f" {_GREEK[match.group()]} ", text)
        text = re.sub("[’‘ʼ′]", "'", text)
        # Of other scripts letters, digits and their marks (vowel signs) are what a name is made of.
        text = "".join(
            sign
            if sign.isascii() or sign.isalnum() or unicodedata.category(sign)[0] == "M"
            else " "
            for sign in text
        )
    return text.casefold()


# Closing words of common names, and the kinds that they suit; None suits all.
_NEBULAE = (
    "emission_nebula", "reflection_nebula", "dark_nebula", "planetary_nebula",
    "supernova_remnant", "cluster_with_nebula", "other",
)  # fmt: skip
_CLUSTERS = ("open_cluster", "globular_cluster", "cluster_with_nebula", "star_field")
_KINDS_OF_WORD: dict[str, tuple[str, ...] | None] = {
    "nebula": _NEBULAE,
    "nebulae": _NEBULAE,
    "galaxy": ("galaxy", "galaxy_group"),
    "galaxies": ("galaxy", "galaxy_group"),
    "cluster": (*_CLUSTERS, "galaxy_group"),
    "remnant": ("supernova_remnant",),
    "complex": None,
    "region": None,
    "group": None,
    "loop": None,
}
_KIND_WORDS = re.compile(rf"\b(?:{'|'.join(_KINDS_OF_WORD)})$")


def stem(common_name: str) -> str:
    """Key of a common name without its closing kind: "Andromeda Galaxy" -> "andromeda"."""
    words = re.sub(r"\s+", " ", common_name.strip().casefold())
    return normalise(_KIND_WORDS.sub("", words).strip() or words)


def name_words(text: str) -> tuple[tuple[str, ...], str]:
    """Words of a name without "'s" and plural s, and its closing kind apart, "" without one.

    Examples
    --------
    >>> name_words("Elephant's Trunk Nebula")
    (('elephant', 'trunk'), 'nebula')
    """
    plain = re.sub(r"'s\b", "", _plain(text)).replace("'", "").removeprefix("the ")
    words = re.findall(r"[^\W\d_]+|\d+", plain)
    kind = ""
    if len(words) > 1 and words[-1] in _KINDS_OF_WORD:
        kind = words.pop()
    short = (re.sub(r"(?<=[a-z]{3}[^s])s$", "", word) for word in words)
    return tuple(short), kind


def is_kind_word(key: str) -> bool:
    """Whether a normalised name is a kind alone, which fits too many to mean one."""
    return key in _KINDS_OF_WORD


def kind_suits(word: str, kind: str) -> bool:
    """Whether a target of this kind may be called so; no word suits every kind."""
    kinds = _KINDS_OF_WORD.get(word)
    return kinds is None or kind in kinds


_PARTS = re.compile(r"^(\D*)(.*)$", re.DOTALL)


def near_names(
    key: str,
    famous: Sequence[tuple[str, int]],
    designations: Mapping[str, int],
    with_digits: Callable[[str], Iterable[int]],
    most: int = 5,
) -> list[int]:
    """Rows whose names lie near a normalised key that was not found, likeliest first, `most` of
    them.

    `famous` are keys and rows of the names that people type (common names, Messier, Caldwell, large
    targets), `designations` those of every designation; `with_digits` gives the rows whose
    designation has such digits ("7000") behind any letters.
    """
    import difflib

    rows: list[int] = []
    letters, digits = _PARTS.match(key).groups()  # type: ignore[union-attr]
    keys: dict[str, int] = {}
    for name, row in famous:
        if name.isalpha() == key.isalpha():
            keys.setdefault(name, row)
    if digits:
        for other in _digit_slips(digits):
            if letters + other in designations:
                rows.append(designations[letters + other])
        rows += with_digits(digits)
    elif len(key) >= 3:
        # two letters off is another word altogether where there are only four
        furthest = 2 if len(key) > 4 else 1
        near = {name: _letters_apart(key, name, furthest) for name in keys}
        rows += [
            keys[name] for name in sorted(near, key=near.__getitem__) if near[name] <= furthest
        ]
        wordy = sorted((name for name in keys if name.isalpha()), key=len)
        rows += [keys[name] for name in wordy if name.startswith(key)]
        rows += [keys[name] for name in wordy if key in name]
    rows += [keys[name] for name in difflib.get_close_matches(key, keys, n=most, cutoff=0.72)]
    return list(dict.fromkeys(rows))[:most]


def _letters_apart(one: str, other: str, most: int) -> int:
    """Letters to add, drop, change or swap with their neighbour; more than `most` is most + 1.

    Optimal string alignment (Damerau 1964, Comm. ACM 7, 171), row by row.
    """
    if abs(len(one) - len(other)) > most:
        return most + 1
    before: list[int] = []
    last = list(range(len(other) + 1))
    for i, letter in enumerate(one, start=1):
        row = [i]
        for j, beside in enumerate(other, start=1):
            best = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (letter != beside))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == beside:
                best = min(best, before[j - 2] + 1)
            row.append(best)
        if min(row) > most:
            return most + 1
        before, last = last, row
    return min(last[-1], most + 1)


def _digit_slips(digits: str) -> list[str]:
    """Numbers one slip away: a digit too many, two digits swapped."""
    slips = [digits[:at] + digits[at + 1 :] for at in range(len(digits))]
    slips += [
        digits[:at] + digits[at + 1] + digits[at] + digits[at + 2 :]
        for at in range(len(digits) - 1)
    ]
    return [slip for slip in dict.fromkeys(slips) if slip and slip[0] != "0" and slip != digits]
