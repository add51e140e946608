"""What one framing holds is one entry; known neighbours, written down from common practice."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from nightplan.model.catalog import Catalog
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.composite import is_composite
from nightplan.model.config import Config
from nightplan.model.preferences import Goal
from nightplan.model.starter import demo_config
from nightplan.planning.choosing.held_back import HARDLY, with_reasons
from nightplan.planning.choosing.selection import Ranking, rank_targets
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.framing.mosaic_or_field import framing_value
from nightplan.planning.framing.subject_hours import with_subject_hours
from nightplan.planning.framing.subjects import held, merge_subjects, subject_members
from nightplan.planning.returning.earlier_nights import EarlierNights, GatheredHours
from nightplan.planning.tonight.night import compute_night

CONFIG = demo_config()
REDUCER = CONFIG.model_copy(update={"train": {"reducer": CONFIG.train["reducer"]}})

# Who is shot together in a field of 2.3 by 1.5 degrees, and who is not: common practice, no
# source. (first, second, one picture)
NEIGHBOURS = [
    ("M 45", "NGC 1432", True),
    ("M 45", "NGC 1435", True),
    ("M 31", "M 32", True),
    ("M 31", "M 110", True),
    ("NGC 869", "NGC 884", True),
    ("IC 1805", "Melotte 15", True),
    ("IC 1805", "IC 1795", True),
    ("IC 1805", "IC 1848", False),
    ("M 81", "M 82", True),
    ("M 65", "M 66", True),
    ("M 66", "NGC 3628", True),
    ("M 84", "M 86", True),
    ("M 86", "NGC 4438", True),
    ("M 42", "M 43", True),
    ("IC 434", "NGC 2024", True),
    ("IC 434", "B 33", True),
    ("M 8", "M 20", True),
    ("NGC 7635", "M 52", True),
    ("M 97", "M 108", True),
    ("NGC 2237", "NGC 2244", True),
    ("IC 443", "Sh2-249", True),
    ("NGC 4631", "NGC 4656", True),
    ("M 95", "M 96", True),
    ("NGC 6960", "NGC 6992", False),
    ("M 31", "M 33", False),
    ("NGC 7000", "IC 1396", False),
    ("M 51", "M 101", False),
]


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def faces(catalog: Catalog, names: list[str], config: Config = REDUCER, asked: tuple = ()) -> dict:
    """Face by name, of the targets named and of every field of several that holds one."""
    targets = [catalog.target(catalog.find(name)) for name in names]
    found = merge_subjects(
        config, targets, lambda index: frame_target(config, targets[index], "reducer"), asked
    )
    return {
        targets[index].name: targets[one.face].name
        for one in found
        for index in (one.face, *one.members)
    }


@pytest.mark.parametrize(("first", "second", "together"), NEIGHBOURS)
def test_known_neighbours(catalog: Catalog, first: str, second: str, together: bool) -> None:
    composites = [
        str(catalog.name[row])
        for row in np.flatnonzero(is_composite(catalog.outline_source))
        if abs(catalog.dec_deg[row] - catalog.dec_deg[catalog.find(first)]) < 2.0
    ]
    found = faces(catalog, [first, second, *composites])
    one, other = (str(catalog.name[catalog.find(name)]) for name in (first, second))
    assert (found[one] == found[other]) is together


def test_at_least_25_neighbours() -> None:
    assert len(NEIGHBOURS) >= 25


def test_the_larger_one_is_the_face_and_order_does_not_matter(catalog: Catalog) -> None:
    for names in (["M 32", "M 110", "M 31"], ["M 31", "M 110", "M 32"]):
        assert faces(catalog, names) == dict.fromkeys(names, "M 31")
    for names in (["NGC 1435", "M 45", "NGC 1432"], ["M 45", "NGC 1432", "NGC 1435"]):
        assert faces(catalog, names) == dict.fromkeys(names, "M 45")


def test_a_field_of_several_that_fits_is_the_face_and_one_that_does_not_gives_way(
    catalog: Catalog,
) -> None:
    leo = "M 65 + M 66 + NGC 3628"
    assert set(faces(catalog, ["M 66", "NGC 3628", leo, "M 65"]).values()) == {leo}
    both = faces(catalog, ["IC 1805", "IC 1848", "IC 1805 + IC 1848"])
    assert set(both.values()) == {"IC 1805", "IC 1848"}


def test_what_was_asked_for_is_never_a_mere_member(catalog: Catalog) -> None:
    found = faces(catalog, ["M 31", "M 110", "M 32"], asked=("M 110",))
    assert found["M 110"] == "M 110"
    leo = "M 65 + M 66 + NGC 3628"
    assert faces(catalog, [leo, "M 66", "M 65"], asked=("M 66",))["M 66"] == "M 66"


def test_every_target_has_one_face_which_is_its_own(catalog: Catalog) -> None:
    rng = np.random.default_rng(7)
    rows = rng.choice(np.flatnonzero(catalog.major_arcmin > 8.0), 150, replace=False)
    names = [str(catalog.name[row]) for row in rows]
    found = faces(catalog, names)
    assert set(found) == set(names)
    assert all(found[face] == face for face in found.values())


def test_held_by_corners_worked_out_by_hand(catalog: Catalog) -> None:
    # A point target 1 arcmin inside and outside the long edge of the reducer's field.
    target = catalog.target(catalog.find("M 33"))
    framing = frame_target(REDUCER, target, "reducer", angle_deg=90.0)
    half_arcmin = np.degrees(np.arctan(0.5 * 6000 * 3.9e-3 / (784.0 * 0.75))) * 60.0
    step = np.cos(np.radians(target.dec_deg)) * 60.0
    point = replace(target, name="point", major_arcmin=0.1, minor_arcmin=0.1, outline=None)
    near, far = (
        replace(point, ra_deg=framing.ra_deg + (half_arcmin + shift) / step)
        for shift in (-1.0, 1.0)
    )
    assert list(held(REDUCER, framing, [near, far])) == [True, False]


def test_members_of_a_plans_target_are_those_of_note(catalog: Catalog) -> None:
    for name, members in (("M 31", {"M 32", "M 110"}), ("M 45", {"NGC 1432", "NGC 1435"})):
        target = catalog.target(catalog.find(name))
        framing = frame_target(REDUCER, target, "reducer")
        found = {one.name for one in subject_members(REDUCER, catalog, target, framing)}
        assert members <= found
    alone = catalog.target(catalog.find("NGC 6888"))
    framing = frame_target(CONFIG, alone, "flattener")
    assert all("+" not in one.name for one in subject_members(CONFIG, catalog, alone, framing))


def ranking(catalog: Catalog, date: dt.date, config: Config = REDUCER) -> Ranking:
    return rank_targets(config, compute_night(config.site, date), catalog, most=60)


def test_the_leo_triplet_is_among_the_first_ten_of_march(catalog: Catalog) -> None:
    # New moon of 8 March 2027 (ephem agrees to the day).
    names = [one.target.name for one in ranking(catalog, dt.date(2027, 3, 8)).ranked[:10]]
    assert "M 65 + M 66 + NGC 3628" in names
    assert "Markarian's Chain" in names
    assert {"M 81 + M 82", "M 81 group"} & set(names)


def test_a_ranking_frames_as_the_plan_does_and_has_one_entry_a_subject(catalog: Catalog) -> None:
    for date in (dt.date(2027, 10, 6), dt.date(2027, 12, 3)):
        ranked = ranking(catalog, date, CONFIG).ranked
        listed = {one.target.name for one in ranked}
        scores = [one.score for one in ranked]
        assert scores == sorted(scores, reverse=True)
        for one in ranked:
            assert not listed & set(one.subject)
            framing = frame_target(CONFIG, one.target, one.train, in_full=False)
            # All that the plan would name in its framing, in the ranking or not.
            held_there = {
                each.name for each in subject_members(CONFIG, catalog, one.target, framing)
            }
            assert held_there - listed <= set(one.subject)
            assert one.score == pytest.approx(np.prod(list(one.score_parts.values())))
        for one in ranked[:25]:
            framing = frame_target(CONFIG, one.target, one.train)
            assert one.panels == len(framing.panels)
            if one.coverage < 0.99:
                assert one.coverage == pytest.approx(framing.coverage)
        orion = next((one for one in ranked if one.target.name == "M 42"), None)
        assert orion is None or {"M 43", "NGC 1980"} <= set(orion.subject)
        andromeda = next((one for one in ranked if one.target.name == "M 31"), None)
        if andromeda is not None:
            assert "M 110" in andromeda.subject
            assert "M 32" not in listed
            assert andromeda.score_parts["framing"] == pytest.approx(
                float(framing_value(andromeda.coverage, andromeda.panels)), rel=0.02
            )


def test_a_goal_keeps_its_own_entry(catalog: Catalog) -> None:
    config = CONFIG.model_copy(update={"goal": {"M 110": Goal(priority=2.0)}})
    listed = [one.target.name for one in ranking(catalog, dt.date(2027, 10, 6), config).ranked]
    assert "M 110" in listed


def test_what_held_back_is_the_factor_lowest_beside_the_best(catalog: Catalog) -> None:
    night = compute_night(CONFIG.site, dt.date(2027, 10, 6))
    ranked = rank_targets(CONFIG, night, catalog, most=40).ranked
    parts = {**ranked[0].score_parts, "framing": 1.0, "contrast": 0.6}
    first = replace(
        ranked[0], panels=1, coverage=1.0, hours=6.0, equivalent_h=5.0, score_parts=parts
    )
    cases = {
        "little of the field": replace(
            first, score_parts={**first.score_parts, "framing": 0.4, "contrast": 0.5}
        ),
        "little it stands out": replace(
            first, score_parts={**first.score_parts, "framing": 0.9, "contrast": 0.2}
        ),
        "the time that": replace(first, hours=2.0, equivalent_h=1.6),
        "moonlight": replace(first, equivalent_h=1.0),
        "hours of its panels": replace(
            first, panels=4, score_parts={**first.score_parts, "framing": 0.51}
        ),
        "one field cuts": replace(
            first, coverage=0.7, score_parts={**first.score_parts, "framing": 0.49}
        ),
    }
    for words, entry in cases.items():
        best, told = with_reasons([first, entry], [first, entry], night.window_hours)
        assert "nothing holds it back" in best.why
        assert words in told.why
    near = replace(first, equivalent_h=5.0 * HARDLY + 0.01)
    told = with_reasons([near], [first, near], night.window_hours)[0]
    assert "nothing holds it back" in told.why


def test_hours_of_a_framing_count_for_what_it_holds(catalog: Catalog) -> None:
    hours = (
        GatheredHours("M 31", 1, "L", "reducer", 4.0),
        GatheredHours("M 31", 1, "R", "reducer", 1.0),
        GatheredHours("M 33", 1, "L", "reducer", 2.0),
        GatheredHours("no such target", 1, "L", "reducer", 2.0),
    )
    earlier = EarlierNights(gathered=hours)
    targets = [catalog.target(catalog.find(name)) for name in ("M 110", "M 32", "M 31")]
    found = with_subject_hours(REDUCER, catalog, earlier, targets)
    for name in ("M 110", "M 32", "M 31"):
        assert found.gathered_h(name, 1, "L", "reducer") == 4.0
        assert found.gathered_h(name, 1, "R", "reducer") == 1.0
        assert found.begun_train(name, REDUCER.train) == "reducer"
    # A field about the small one does not hold the large one.
    small = EarlierNights(gathered=(GatheredHours("M 32", 1, "L", "reducer", 3.0),))
    back = with_subject_hours(REDUCER, catalog, small, targets)
    assert back.gathered_h("M 31", 1, "L", "reducer") == 0.0
    assert with_subject_hours(REDUCER, catalog, earlier, []) is earlier


def test_the_first_places_are_the_same_however_many_are_listed(catalog: Catalog) -> None:
    night = compute_night(CONFIG.site, dt.date(2027, 7, 30))
    whole = rank_targets(CONFIG, night, catalog, most=200).ranked
    assert len(whole) > 60
    for most in (1, 12):
        assert rank_targets(CONFIG, night, catalog, most=most).ranked == whole[:most]


def test_a_framing_without_its_tolerance_is_the_same_framing(catalog: Catalog) -> None:
    for name in ("M 31", "NGC 891", "IC 1805", "Markarian's Chain"):
        target = catalog.target(catalog.find(name))
        for train in CONFIG.train:
            whole = frame_target(CONFIG, target, train)
            short = frame_target(CONFIG, target, train, in_full=False)
            assert np.isnan(short.position_angle_tolerance_deg)
            assert whole == replace(
                short,
                position_angle_tolerance_deg=whole.position_angle_tolerance_deg,
                whole_mosaic_panels=whole.whole_mosaic_panels,
                reason=whole.reason,
            )
