"""Lights whose OBJECT says little, and subs that their stars tell are spoilt."""

from __future__ import annotations

import pytest

from nightplan.journal import Journal
from nightplan.journal.fits_import import Instructions, Verdict, collect_folder
from nightplan.model.config import load_config
from nightplan.model.own_targets import catalog_for
from tests.journal.test_fits_import import reasons, write


@pytest.fixture
def setting(config_file, tmp_path):
    """A folder, the starter's configuration, and a call that collects."""
    folder = tmp_path / "shot"
    folder.mkdir()
    config = load_config(config_file)
    catalog = catalog_for(config)

    def run(**told):
        return collect_folder(folder, config, catalog, Instructions(**told))

    return folder, config, run


def at(minute, **cards):
    return {"DATE_OBS": f"2027-10-06T22:{minute:02d}:00", **cards}


def test_a_pointing_inside_a_framed_field_is_of_that_framing(setting):
    """A corner of M 33's field, framed at 0° (long side north), lies nearer to an own target's
    middle than to the field's; 1.1° east of the middle is outside (half the short side 0.76°)."""
    folder, config, run = setting
    with Journal.of(config, writable=True) as journal:
        journal.record_framing("M 33", 2, "reducer", 23.46, 30.66, 0.0, 270.0, False)
        journal.record_framing("NGC 404", 1, "reducer", 23.46, 32.6, 0.0, 270.0, False)
    write(folder / "a.fits", **at(1, OBJECT="Test", RA=23.46, DEC=31.6))
    write(folder / "b.fits", **at(6, OBJECT=None, RA=23.46, DEC=31.7))
    write(folder / "c.fits", **at(11, OBJECT="Sky", RA=24.74, DEC=30.66))
    found = {one.file.rsplit("/", 1)[-1]: (one.target, one.panel) for one in run().added}
    assert found["a.fits"] == ("M 33", 2)
    assert found["b.fits"] == ("NGC 404", 1)
    # Outside every field, within reach of the nearest one.
    assert found["c.fits"] == ("M 33", 2)


def test_a_nameless_light_belongs_to_the_run_that_it_is_of(setting):
    folder, _, run = setting
    write(folder / "a.fits", **at(1, OBJECT="Untitled", RA=10.7, DEC=41.3))
    write(folder / "b.fits", **at(6, OBJECT="M 31", RA=10.68, DEC=41.27))
    write(folder / "c.fits", **at(11, OBJECT="Untitled", RA=200.0, DEC=-10.0))
    result = run()
    assert {one.target for one in result.added} == {"M 31"}
    assert len(result.added) == 2
    assert "OBJECT = 'Untitled'" in reasons(result)["c.fits"]


def test_what_was_shot_before_is_a_known_place(setting):
    folder, _, run = setting
    write(folder / "b.fits", **at(6, OBJECT="M 31"))
    run()
    write(folder / "a.fits", **at(1, OBJECT="", RA=10.7, DEC=41.3))
    (again,) = run().added
    assert again.target == "M 31"


def test_subs_are_rejected_by_their_stars(setting):
    """Of 100 stars and 3 px in the median, 40 stars or 5.5 px are spoilt; 60 and 4 count."""
    folder, config, run = setting
    stars = [100, 104, 98, 100, 60, 40, 101]
    widths = [3.0, 3.1, 2.9, 5.5, 4.0, 3.0, 3.0]
    for minute, (count, width) in enumerate(zip(stars, widths, strict=True)):
        write(folder / f"{minute}.fits", **at(5 * minute, STARCNT=count, FWHM=width))
    result = run()
    spoilt = {one.file[-6]: one.reason for one in result.added if not one.accepted}
    assert spoilt == {
        "5": "40 stars where the median has 100",
        "3": "stars 5.5 wide where the median has 3.0",
    }
    assert "2 subs rejected by the stars" in result.notices[0]
    with Journal.of(config) as journal:
        assert journal.gathered_table()[0].rejected_subs == 2
    assert run(verdict=Verdict(given=True, overrule=True)).judged_again == 7
    with Journal.of(config) as journal:
        assert journal.gathered_table()[0].rejected_subs == 0


def test_few_subs_or_no_cards_reject_nothing(setting):
    folder, _, run = setting
    for minute, count in enumerate([100, 104, 98, 10]):
        write(folder / f"{minute}.fits", **at(5 * minute, STARCNT=count))
    for minute in range(4, 10):
        write(folder / f"{minute}.fits", **at(5 * minute, FILTER="R"))
    assert all(one.accepted for one in run().added)


def test_a_verdict_of_the_imager_stands_before_the_stars(setting):
    folder, _, run = setting
    for minute, count in enumerate([100, 100, 100, 100, 100, 10]):
        write(folder / f"{minute}.fits", **at(5 * minute, STARCNT=count))
    added = run(verdict=Verdict(weight=0.7, given=True)).added
    assert [one.weight for one in added] == [0.7] * 6
    assert all(one.accepted for one in added)
