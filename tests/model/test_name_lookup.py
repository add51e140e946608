"""Forgiving names: every spelling finds its object, and misses are answered."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from nightplan.errors import TargetError
from nightplan.model.catalog import Catalog
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.name_index import join_words, quick_keys
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
    "IC 2118": ["NGC 1909", "witch head"],
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


# What imagers type, and what they mean by it: usage, no source.
TYPED = {
    "NGC 7293": ["helix", "helix nebula"],
    "M 97": ["owl", "the owl", "owl nebula"],
    "NGC 457": ["owl cluster"],
    "IC 5146": ["cocoon", "cocoon nebula"],
    "NGC 4490": ["cocoon galaxy"],
    "M 81": ["bode", "bode's", "bodes", "bode's galaxy"],
    "Rho Ophiuchi Complex": ["rho oph", "rho ophiuchi", "ρ Oph"],
    "IC 1396A": ["elephant trunk", "elephant's trunk", "elephants trunk nebula", "trunk"],
    "IC 410": ["tadpole nebula", "tadpoles"],
    "LDN 1235": ["shark", "dark shark", "shark nebula"],
    "NGC 4755": ["jewel box", "jewel box cluster"],
    "NGC 7662": ["blue snowball", "snowball nebula"],
    "NGC 3132": ["southern ring", "southern ring nebula"],
    "NGC 1360": ["robin's egg", "robins egg nebula"],
    "IC 342": ["hidden galaxy"],
    "Sh2-240": ["s147", "S 147", "simeis 147"],
    "M 87": ["virgo a"],
    "NGC 5128": ["cen a", "Cen A", "centaurus a"],
    "M 33": ["m33 galaxy"],
    "M 42": ["orion", "M 42 nebula"],
    "Sh2-129": ["flying bat", "bat"],
    "Sh2-261": ["lower nebula", "lower's"],
    "Markarian's Chain": ["markarian", "markarians chain"],
}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "typed"), [(name, text) for name, texts in TYPED.items() for text in texts]
)
def test_what_people_type_is_found(catalog: Catalog, name: str, typed: str) -> None:
    assert catalog.name[catalog.find(typed)] == name


@pytest.mark.parametrize(("typed", "other"), [("helix", "NGC 2685"), ("owl", "NGC 457")])
def test_the_famous_one_is_taken_and_the_rest_are_named(
    catalog: Catalog, typed: str, other: str
) -> None:
    others = catalog.names.meaning(typed).others
    assert other in {str(catalog.name[row]) for row in others}


def test_a_kind_that_is_typed_must_suit(catalog: Catalog) -> None:
    """The Virgo cluster is no galaxy: found as a group of galaxies, or not at all."""
    try:
        row = catalog.find("virgo cluster")
    except TargetError:
        return
    assert catalog.kind[row] == "galaxy_group"


def test_part_of_a_name_is_no_object_card(catalog: Catalog) -> None:
    for text in ("dark", "shark", "flying", "north"):
        with pytest.raises(TargetError):
            catalog.find(text, whole_name=True)
    assert catalog.name[catalog.find("rosette", whole_name=True)] == "NGC 2237"


def _altered(draw: st.DrawFn, name: str) -> str:
    """A name with one or two letters dropped, doubled, changed or swapped."""
    for _ in range(draw(st.integers(1, 2))):
        at = draw(st.integers(0, len(name) - 2))
        how = draw(st.sampled_from(["drop", "double", "change", "swap"]))
        middle = {
            "drop": name[at + 1],
            "double": name[at] + name[at] + name[at + 1],
            "change": "x" + name[at + 1],
            "swap": name[at + 1] + name[at],
        }[how]
        name = name[:at] + middle + name[at + 2 :]
    return name


FAMOUS = {
    "M 31": "andromeda", "M 45": "pleiades", "M 51": "whirlpool", "M 104": "sombrero",
    "NGC 2237": "rosette", "NGC 1499": "california", "NGC 2070": "tarantula", "B 33": "horsehead",
    "NGC 6888": "crescent", "M 27": "dumbbell", "IC 443": "jellyfish", "IC 5070": "pelican",
}  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_a_name_within_two_letters_of_a_famous_one_is_offered(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(FAMOUS)))
    typed = data.draw(st.composite(_altered)(FAMOUS[name]))
    try:
        row = _CATALOG.find(typed)
        # "rotte", two letters off the rosette, begins another's name: the Rotten Fish
        assume(not normalise(str(_CATALOG.common_names[row])).startswith(typed))
        found = [str(_CATALOG.name[row])]
    except TargetError as error:
        found = [label.split(" (")[0] for label in error.suggestions]
    assert name in found, typed


@pytest.mark.parametrize(
    ("words", "names"),
    [
        (["M", "33"], ["M 33"]),
        (["M", "31", "NGC", "7000"], ["M 31", "NGC 7000"]),
        (["north", "america", "veil"], ["north america", "veil"]),
        (["Sh2-129", "m33"], ["Sh2-129", "m33"]),
        (["M 31", "M", "33"], ["M 31", "M 33"]),
        (["elephant", "trunk", "nebula"], ["elephant trunk nebula"]),
        (["heart", "soul"], ["heart", "soul"]),
        (["NGC", "99999"], ["NGC 99999"]),
        (["zzz", "qqq"], ["zzz", "qqq"]),
        ([], []),
    ],
)
def test_words_that_a_shell_has_parted_are_joined(
    catalog: Catalog, words: list[str], names: list[str]
) -> None:
    assert join_words(words, catalog.names) == names


@pytest.mark.parametrize(
    ("wrong", "right"),
    [("Adromeda", "M 31"), ("pleides", "M 45"), ("NCG 7000", "NGC 7000"), ("7000", "NGC 7000"),
     ("M 111", "M 11"), ("whirlpol", "M 51"), ("NGC 70000", "NGC 7000"), ("IC 1396B", "IC 1396A"),
     ("rosete nebula", "NGC 2237"), ("sh2-1929", "Sh2-129"), ("IC 7000", "NGC 7000")],
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
    [("butterfly", {"NGC 6302", "M 6", "IC 1318B"}),
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
        for line, keys in zip(column, quick_keys(column), strict=True):
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
