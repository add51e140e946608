"""Forgiving names: every spelling finds its object, and misses are answered."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.errors import TargetError
from nightplan.model.catalog import Catalog, _quick_keys
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.name_lookup import normalise, stem


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


SPELLINGS = {
    "M 31": ["m 31", "M31", "m-031", "Messier 31", "NGC224", "ngc 0224", "NGC 224", "UGC00454",
             "pgc 2557", "Andromeda Galaxy", "andromeda galaxy", "Andromeda", "the andromeda",
             "andro", "M 31 (Andromeda Galaxy)"],
    "Sh2-129": ["sh 2-129", "Sh2 129", "SH2-129", "sh2129", "Sharpless 129", "sharpless 2-129",
                "flying bat"],
    "IC 1396": ["ic1396", "IC 1396", "Sh2-131", "lbn 451"],
    "B 33": ["B33", "Barnard 33", "horsehead", "Horse Head Nebula"],
    "NGC 7000": ["C20", "Caldwell 20", "c 020", "north america nebula", "NorthAmerica", "Sh2-117"],
    "Sh2-155": ["C9", "Caldwell 9", "cave nebula", "LBN 529"],
    "IC 1805": ["heart", "the Heart Nebula", "Sh2-190"],
    "IC 1805 + IC 1848": ["heart and soul", "Heart & Soul", "heart + soul", "ic1805+ic1848"],
    "Sh2-240": ["simeis 147", "Spaghetti", "SNR G180.0-1.7"],
    "M 45": ["Pleiades", "pleiad", "Melotte 22", "mel 022", "seven sisters"],
    "IC 4604": ["ρ Ophiuchi Nebula", "Rho Ophiuchi Nebula", "vdB 106", "van den Bergh 106"],
    "M 7": ["Ptolemy’s Cluster", "ptolemys cluster"],
    "NGC 1909": ["IC 2118", "witch head"],
    "M 101": ["M102", "pinwheel galaxy"],
    "NGC 2237": ["Rosette", "NGC 2238", "NGC2246", "caldwell 49"],
    "C 14": ["Double Cluster", "h and chi persei", "NGC 869 + NGC 884"],
    "LMC": ["Large Magellanic Cloud", "ESO 056-115"],
}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "spelling"), [(name, text) for name, texts in SPELLINGS.items() for text in texts]
)
def test_spellings_find_their_object(catalog: Catalog, name: str, spelling: str) -> None:
    assert catalog.name[catalog.find(spelling)] == name


@pytest.mark.parametrize(
    ("wrong", "right"),
    [("Adromeda", "M 31"), ("pleides", "M 45"), ("NCG 7000", "NGC 7000"), ("7000", "NGC 7000"),
     ("M 111", "M 11"), ("whirlpol", "M 51"), ("NGC 70000", "NGC 7000"), ("IC 1396B", "IC 1396A"),
     ("rosete nebula", "NGC 2237"), ("sh2-192", "Sh2-129"), ("IC 7000", "NGC 7000")],
)  # fmt: skip
def test_a_miss_is_answered_with_what_lies_near(catalog: Catalog, wrong: str, right: str) -> None:
    with pytest.raises(TargetError) as caught:
        catalog.find(wrong)
    assert not caught.value.ambiguous
    assert right in [label.split(" (")[0] for label in caught.value.suggestions]
    assert len(caught.value.suggestions) <= 5
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "among"),
    [("butterfly", {"NGC 6302", "M 6", "IC 1318B"}), ("antennae", {"NGC 4038", "NGC 4039"}),
     ("horse", {"B 33", "IC 434"})],
)  # fmt: skip
def test_an_ambiguous_name_lists_its_meanings(catalog: Catalog, text: str, among: set[str]) -> None:
    with pytest.raises(TargetError) as caught:
        catalog.find(text)
    assert caught.value.ambiguous
    assert among <= {label.split(" (")[0] for label in caught.value.suggestions}


@pytest.mark.parametrize("text", ["", "   ", "?!", "zzzzqqq", "()", "0", "é", "+", "\n"])
def test_nonsense_is_one_clear_error(catalog: Catalog, text: str) -> None:
    with pytest.raises(TargetError) as caught:
        catalog.find(text)
    assert "\n" not in str(caught.value)


@settings(max_examples=100, deadline=None)
@given(text=st.text(max_size=30))
def test_no_text_breaks_the_look_up(text: str) -> None:
    try:
        row = _CATALOG.find(text)
    except TargetError as error:
        message = str(error)
    else:
        message = _CATALOG.name[row]
    assert message
    assert "\n" not in message


_CATALOG = load_catalog()


def _respelled(draw: st.DrawFn, name: str) -> str:
    """The same designation in other case, spacing, punctuation and with leading zeros."""
    made = []
    for at, sign in enumerate(name):
        before = name[at - 1] if at else ""
        if sign == " ":
            made.append(draw(st.sampled_from([" ", "", "  ", "-", "_", "."])))
        elif sign.isdigit() and before == " ":
            made.append(draw(st.sampled_from(["", "0", "00"])) + sign)
        else:
            made.append(draw(st.sampled_from([sign.lower(), sign.upper()])))
    return draw(st.sampled_from(["", " "])) + "".join(made) + draw(st.sampled_from(["", "  "]))


@settings(max_examples=100, deadline=None)
@given(data=st.data())
def test_any_spelling_of_any_designation_finds_it(data: st.DataObject) -> None:
    row = data.draw(st.integers(0, len(_CATALOG) - 1))
    target = _CATALOG.target(row)
    name = data.draw(st.sampled_from([target.name, *target.identifiers]))
    if "+" in name or "'" in name:  # a plus sign belongs to the number
        assert _CATALOG.find(name.lower()) == row
        return
    assert _CATALOG.find(data.draw(st.composite(_respelled)(name))) == row


def test_every_designation_leads_to_one_row(catalog: Catalog) -> None:
    owner: dict[str, int] = {}
    for row in range(len(catalog)):
        target = catalog.target(row)
        for name in (target.name, *target.identifiers):
            assert owner.setdefault(normalise(name), row) == row, name


def test_the_quick_keys_are_the_slow_ones(catalog: Catalog) -> None:
    for column in (catalog.name, catalog.identifiers):
        for line, keys in zip(column, _quick_keys(column), strict=True):
            slow = ";".join(normalise(part) for part in line.split(";")) if line else ""
            assert keys == slow


LINE = st.text(st.characters(exclude_characters="\n"), max_size=25)


@settings(max_examples=100, deadline=None)
@given(lines=st.lists(LINE, min_size=1, max_size=4))
def test_many_names_at_once_give_the_keys_of_each(lines: list[str]) -> None:
    assert normalise("\n".join(lines)).split("\n") == [normalise(line) for line in lines]


def test_signs_before_numbers_count() -> None:
    assert normalise("PN G36.1+57.1") != normalise("PN G36.1-57.1")
    assert normalise("MCG +03-01-029") != normalise("MCG -03-01-029")
    assert normalise("Sh2-12 9") != normalise("Sh2-129")


def test_stems_drop_the_kind_alone() -> None:
    assert stem("Andromeda Galaxy") == "andromeda"
    assert stem("Nebula") == "nebula"
    assert stem("Heart and Soul") == normalise("Heart and Soul")
