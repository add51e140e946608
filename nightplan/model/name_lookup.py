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


def normalise(text: str) -> str:
    """Key under which two spellings of one name meet.

    Case, accents, punctuation, spaces, leading zeros, a leading "the" and the spelling of the
    catalogue do not matter; a break between two numbers does, and so does a plus sign before a
    digit. Line breaks stay, so that many names can be done at once, one a line.

    Examples
    --------
    >>> [normalise(name) for name in ("M 031", "messier 31", "Sh 2-129", "Ptolemy’s Cluster")]
    ['m31', 'm31', 'sh2-129', 'ptolemyscluster']
    """
    if not text.isascii():
        text = "".join(
            sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign)
        )
        text = text.casefold()
        text = _GREEK_SIGNS.sub(lambda match: f" {_GREEK[match.group()]} ", text)
        text = re.sub("[’‘ʼ′]", "", text)
    text = text.casefold()
    text = re.sub("['`]", "", text)
    if "+" in text or "&" in text:
        text = re.sub(r"\+(?=\d)", "p", text).replace("+", " and ").replace("&", " and ")
    text = re.sub(r"[^a-z0-9\n]+", " ", text)
    text = re.sub(r"(?<=[a-z])(?=\d)|(?<=\d)(?=[a-z])", " ", text)
    text = re.sub(r"(?<!\d)0+(?=\d)", "", text)
    text = re.sub(r"\bthe ", "", text)
    for rule, short in _CATALOGUE_RULES:
        text = rule.sub(short, text)
    text = _SHARPLESS.sub("sh 2 ", text)
    text = re.sub(r"(?<=\d) (?=\d)", "-", text)
    return text.replace(" ", "")


_KIND_WORDS = re.compile(
    r"\b(?:nebula|nebulae|galaxy|galaxies|cluster|complex|region|group|remnant|loop)$"
)


def stem(common_name: str) -> str:
    """Key of a common name without its closing kind: "Andromeda Galaxy" -> "andromeda"."""
    words = re.sub(r"\s+", " ", common_name.strip().casefold())
    return normalise(_KIND_WORDS.sub("", words).strip() or words)


_PARTS = re.compile(r"^([a-z]*)(.*)$")


def near_names(
    key: str,
    famous: Sequence[tuple[str, int]],
    designations: Mapping[str, int],
    with_digits: Callable[[str], Iterable[int]],
    most: int = 5,
) -> list[int]:
    """Rows whose names lie near a key that was not found, likeliest first, at most `most`.

    Parameters
    ----------
    key : str
        Normalised query.
    famous : sequence of (str, int)
        Keys and rows of the names that people type: common names, Messier, Caldwell, large
        targets.
    designations : mapping
        Row of every designation's key.
    with_digits : callable
        Gives the rows whose designation has these digits ("7000") behind any letters.
    """
    import difflib

    rows: list[int] = []
    letters, digits = _PARTS.match(key).groups()  # type: ignore[union-attr]
    if digits:
        for other in _digit_slips(digits):
            if letters + other in designations:
                rows.append(designations[letters + other])
        rows += with_digits(digits)
    elif len(key) >= 3:
        by_length = sorted(famous, key=lambda pair: len(pair[0]))
        wordy = [(name, row) for name, row in by_length if name.isalpha()]
        rows += [row for name, row in wordy if name.startswith(key)]
        rows += [row for name, row in wordy if key in name]
    keys: dict[str, int] = {}
    for name, row in famous:
        if name.isalpha() == key.isalpha():
            keys.setdefault(name, row)
    rows += [keys[name] for name in difflib.get_close_matches(key, keys, n=most, cutoff=0.72)]
    return list(dict.fromkeys(rows))[:most]


def _digit_slips(digits: str) -> list[str]:
    """Numbers one slip away: a digit too many, two digits swapped."""
    slips = [digits[:at] + digits[at + 1 :] for at in range(len(digits))]
    slips += [
        digits[:at] + digits[at + 1] + digits[at] + digits[at + 2 :]
        for at in range(len(digits) - 1)
    ]
    return [slip for slip in dict.fromkeys(slips) if slip and slip[0] != "0" and slip != digits]
