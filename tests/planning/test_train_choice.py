"""Ranking of trains: parts that a person can check, and the one train of a night."""

import math

import pytest

from nightplan.errors import InputError
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.filters import Filter
from nightplan.model.starter import demo_config
from nightplan.model.target import Target
from nightplan.planning.choosing.frame_answer import frame_answer
from nightplan.planning.choosing.train_choice import PARTS, one_train, rank_trains
from nightplan.planning.choosing.train_reason import begun_words
from nightplan.planning.photons.photon_budget import photon_budget
from nightplan.planning.photons.time_to_snr import leading_filter, time_to_snr
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.visibility import sky_tracks

CONFIG = demo_config()


@pytest.fixture(scope="module")
def catalog():
    return load_catalog()


@pytest.fixture(scope="module")
def rankings(catalog):
    names = ("M 31", "NGC 7000", "M 51", "M 97")
    return {name: rank_trains(CONFIG, catalog.target(catalog.find(name))) for name in names}


def test_parts_multiply_to_the_score(rankings):
    for ranking in rankings.values():
        scores = [fit.score for fit in ranking.fits]
        assert scores == sorted(scores, reverse=True)
        for fit in ranking.fits:
            assert set(fit.parts) == set(PARTS)
            assert all(0.0 <= value <= 1.0 for value in fit.parts.values())
            assert fit.score == pytest.approx(math.prod(fit.parts.values()))


def test_small_targets_take_the_long_train_and_large_ones_the_short(rankings):
    # Common practice, no source: a reducer for what the native field cuts, none for small galaxies.
    assert rankings["M 51"].best.train == "flattener"
    assert rankings["M 97"].best.train == "flattener"
    assert rankings["NGC 7000"].best.train == "reducer"


def test_what_is_no_better_in_figures_is_not_said(catalog):
    huge = CONFIG.camera.model_copy(update={"width_px": 14000, "height_px": 10500})
    short = CONFIG.optics.model_copy(update={"aperture_mm": 30.0, "focal_length_mm": 135.0})
    config = CONFIG.model_copy(update={"camera": huge, "optics": short})
    reason = rank_trains(config, catalog.target(catalog.find("M 33"))).reason
    assert "0 % of the light" not in reason


def test_reasons_name_the_numbers(rankings):
    assert "pixels across" in rankings["M 51"].reason
    assert "2 panels instead of 4" in rankings["NGC 7000"].reason
    for ranking in rankings.values():
        assert ranking.reason.count(".") >= 1
        assert ranking.reason.endswith(".")


def test_pixels_across(rankings):
    # 11.2' at 206265 x 3.9e-3 / 784 arcsec a pixel (textbook image scale).
    fit = rankings["M 51"].of("flattener")
    assert fit.pixels_across == pytest.approx(11.2 * 60.0 / (206265 * 3.9e-3 / 784.0), rel=1e-3)


def test_time_counts_all_panels(catalog):
    hours = {"flattener": 4.0, "reducer": 5.0}
    ranking = rank_trains(
        CONFIG, catalog.target(catalog.find("NGC 7000")), hours_to_snr=lambda _, name: hours[name]
    )
    for fit in ranking.fits:
        assert fit.hours_all_panels == hours[fit.train] * len(fit.framing.panels)
    # Four panels of 4 h against two of 5 h: the longer one's part is (10 / 16)^0.75.
    assert ranking.of("flattener").parts["time"] == pytest.approx((10.0 / 16.0) ** 0.75)
    assert ranking.of("reducer").parts["time"] == 1.0


def test_no_light_at_all_still_ranks(catalog):
    ranking = rank_trains(
        CONFIG, catalog.target(catalog.find("M 51")), hours_to_snr=lambda *_: math.inf
    )
    assert ranking.best.train == "flattener"
    assert math.isfinite(ranking.best.score)


def test_small_filters_cost_the_train_that_needs_larger_ones(catalog):
    filters = {
        name: Filter(**{**item.model_dump(), "clear_aperture_mm": 29.0})
        for name, item in CONFIG.filter.items()
    }
    config = CONFIG.model_copy(update={"filter": filters})
    ranking = rank_trains(config, catalog.target(catalog.find("M 51")))
    parts = [ranking.of(name).parts["corners"] for name in ("flattener", "reducer")]
    assert parts[0] < 1.0
    assert parts[1] < 1.0


def test_what_one_train_costs_each_target_of_a_night(rankings):
    several = one_train([rankings[name] for name in ("M 31", "NGC 7000", "M 51")], "reducer")
    by_name = {loss.target: loss for loss in several.losses}
    assert by_name["NGC 7000"].share == 0.0
    assert 0.0 < by_name["M 51"].share < 0.5
    assert by_name["M 51"].best_train == "flattener"
    assert "pixels across" in by_name["M 51"].reason
    assert f"loses {100 * by_name['M 51'].share:.0f} % of its best score" in by_name["M 51"].reason
    # What a target loses is told with its hours, once, from the figures of the two trains.
    hours = [rankings["M 51"].of(train).hours_all_panels for train in ("reducer", "flattener")]
    assert f"{hours[0]:.1f} h" in by_name["M 51"].reason
    assert hours[0] == pytest.approx(hours[1], rel=0.05)
    assert "much as there" in by_name["M 51"].reason
    assert "M 51" in several.reason
    wide = one_train([rankings["NGC 7000"], rankings["M 51"]], "flattener").losses[0]
    hours = [rankings["NGC 7000"].of(train).hours_all_panels for train in ("reducer", "flattener")]
    assert f"({hours[0]:.1f} h instead of {hours[1]:.1f} h)" in wide.reason
    assert wide.reason.count("instead of") <= 3
    assert one_train([rankings["M 51"]], "flattener").reason == rankings["M 51"].reason


def test_what_was_begun_with_a_train_is_said(rankings):
    two = [rankings["NGC 7000"], rankings["M 51"]]
    assert begun_words(two, ["flattener", None], "flattener") == " NGC 7000 was begun with it."
    torn = begun_words(two, ["reducer", "flattener"], "flattener")
    assert "M 51 was begun with it." in torn
    assert "NGC 7000 was begun with the reducer, whose hours do not count here." in torn


def test_hours_agree_with_the_photon_budget_of_a_night(catalog):
    import datetime

    target = catalog.target(catalog.find("NGC 7000"))
    night = compute_night(CONFIG.site, datetime.date(2027, 10, 6))
    tracks = sky_tracks(night, [target.ra_deg], [target.dec_deg], [night.midnight_utc_mjd])
    for train in CONFIG.train:
        budget = photon_budget(CONFIG, train, [target], tracks)
        column = budget.filter_names.index(leading_filter(CONFIG, target))
        expected = budget.hours_to_snr(CONFIG.preferences.wanted_snr)[0, column]
        assert time_to_snr(CONFIG, target, train).hours == pytest.approx(expected, rel=1e-9)


def test_leading_filter_follows_the_kind(catalog):
    assert leading_filter(CONFIG, catalog.target(catalog.find("M 51"))) == "L"
    assert leading_filter(CONFIG, catalog.target(catalog.find("NGC 7000"))) == "Ha"


def test_answer_for_a_given_train(catalog):
    import datetime

    night = compute_night(CONFIG.site, datetime.date(2027, 10, 6))
    target = catalog.target(catalog.find("M 51"))
    answer = frame_answer(CONFIG, night, target, catalog, train="reducer", angle_deg=30.0)
    assert answer.framing.train == "reducer"
    assert answer.framing.position_angle_deg == 30.0
    assert "as asked" in answer.reason
    assert len(answer.framings) == 2
    with pytest.raises(InputError, match=r"train = 'lens'.*flattener, reducer"):
        frame_answer(CONFIG, night, target, catalog, train="lens")


def test_hours_tonight_are_none_for_a_target_that_never_rises(catalog):
    import datetime

    night = compute_night(CONFIG.site, datetime.date(2027, 10, 6))
    far = Target("far south", 100.0, -80.0, major_arcmin=20.0, kind="galaxy")
    assert frame_answer(CONFIG, night, far, catalog).hours_tonight == 0.0
    up = frame_answer(CONFIG, night, catalog.target(catalog.find("M 31")), catalog)
    assert 5.0 < up.hours_tonight < 11.0


def test_four_panels_that_lose_a_sliver_beat_six_that_lose_nothing(catalog):
    # IC 1396, 170' (Sharpless 1959): 2 x 2 reducer fields of 1.52 deg with 15 % overlap span
    # 1.52 x 1.85 x 60 = 169' across, a minute short of it.
    ranking = rank_trains(CONFIG, catalog.target(catalog.find("IC 1396")))
    reducer = ranking.of("reducer").framing
    assert len(reducer.panels) == 4
    assert -2.0 < reducer.margin_arcmin < 0.0
    assert reducer.coverage > 0.99
    assert ranking.best.train == "reducer"
