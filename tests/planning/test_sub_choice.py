"""Gains and sub lengths: shared, pinned, and saturation worked out by hand."""

from __future__ import annotations

import dataclasses
import math
from itertools import product

import numpy as np
import pytest

from nightplan.errors import ConfigError
from nightplan.light.photometry import PHOTONS_PER_RAYLEIGH
from nightplan.light.sub_length import broken_bounds
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import Config, parse_config
from nightplan.model.starter import demo_config, starter_text
from nightplan.planning.photons.filter_budget import FilterBudget, filter_budgets
from nightplan.planning.photons.short_set import LONGEST_SET_S, ROOM, short_set
from nightplan.planning.photons.sub_choice import between_subs_s

CONFIG = demo_config()
TRAINS = tuple(CONFIG.train)


def changed(**lines: str) -> Config:
    """The starter file with lines put behind a table's heading or filter's role."""
    text = starter_text()
    for old, new in lines.values():
        assert text.count(old) == 1
        text = text.replace(old, f"{old}\n{new}")
    return parse_config(text)


def by_filter(config: Config, train: str = "flattener") -> dict[str, FilterBudget]:
    return {one.filter: one for one in filter_budgets(config, train)}


def clock_speed(budget: FilterBudget, gain: str, sub_s: float, config: Config) -> float:
    """(S/N)² of a faint target per second on the clock, as the CCD equation has it."""
    read = config.camera.gain[gain].read_noise_e
    background = budget.reference_sky_e_s + budget.dark_e_s
    return sub_s / (sub_s + between_subs_s(config)) / (background + read**2 / sub_s)


@pytest.mark.parametrize("train", TRAINS)
def test_two_dark_sets_a_night(train: str) -> None:
    sets: dict[bool, set[tuple[str, float]]] = {}
    for name, budget in by_filter(CONFIG, train).items():
        narrow = CONFIG.filter[name].is_narrow
        sets.setdefault(narrow, set()).add((budget.gain, budget.sub_s))
    assert {narrow: len(pairs) for narrow, pairs in sets.items()} == {False: 1, True: 1}


@pytest.mark.parametrize("train", TRAINS)
def test_the_shared_pair_loses_least_of_all_that_keep_the_ceilings(train: str) -> None:
    # Every pair of gain and round length tried here; L counts three times (3 : 1 : 1 : 1).
    budgets = by_filter(CONFIG, train)
    weights = {"L": 3.0, "R": 1.0, "G": 1.0, "B": 1.0}

    def time(gain: str, sub_s: float) -> float:
        return sum(
            w / clock_speed(budgets[name], gain, sub_s, CONFIG) / w0
            for name, w in weights.items()
            for w0 in [1.0 / best[name]]
        )

    best = {
        name: max(
            clock_speed(budgets[name], gain, s, CONFIG)
            for gain, s in product(CONFIG.camera.gain, CONFIG.preferences.sub.lengths_s)
        )
        for name in weights
    }
    allowed = []
    for gain, s in product(CONFIG.camera.gain, CONFIG.preferences.sub.lengths_s):
        pinned = CONFIG.preferences.sub.model_copy(update={"broad_gain": gain, "broad_s": s})
        tried = by_filter(_with_sub(pinned), train)
        if not any(set(broken_bounds(tried[name].limits, s)) - {"read_noise"} for name in weights):
            allowed.append(time(gain, s))
    chosen = time(budgets["L"].gain, budgets["L"].sub_s)
    # Lengths above the floors are left out by design: read noise is drowned by then.
    assert chosen <= 1.06 * min(allowed)


def _with_sub(sub: object) -> Config:
    preferences = CONFIG.preferences.model_copy(update={"sub": sub})
    return CONFIG.model_copy(update={"preferences": preferences})


def test_what_tidiness_costs_is_time_over_the_filters_own_best() -> None:
    for train in TRAINS:
        for name, budget in by_filter(CONFIG, train).items():
            alone = CONFIG.model_copy(update={"filter": {name: CONFIG.filter[name]}})
            own = by_filter(alone, train)[name]
            mine = clock_speed(budget, budget.gain, budget.sub_s, CONFIG)
            best = clock_speed(own, own.gain, own.sub_s, CONFIG)
            cost = budget.setting.tidiness_cost
            # Alone a filter takes the roomier of gains within 2 %.
            assert cost >= best / mine - 1.0 - 1e-9
            assert cost <= max(0.0, best / mine / 0.98 - 1.0) + 1e-9
            assert cost >= 0.0


def test_pins_are_kept_exactly_and_nothing_else_changes() -> None:
    free = by_filter(CONFIG)
    role = 'role = "green"'
    pinned = by_filter(changed(green=(role, 'sub_s = 77.5\ngain = "low"')))
    assert (pinned["G"].sub_s, pinned["G"].gain) == (77.5, "low")
    assert pinned["G"].setting.pinned
    for name in set(free) - {"G"}:
        assert pinned[name].setting == free[name].setting
    # Whatever bound it breaks: a star of V 13 saturates, guiding and longest_s end at 600 s.
    wild = by_filter(changed(green=(role, "sub_s = 5000")))
    assert wild["G"].sub_s == 5000.0
    assert set(wild["G"].setting.broken) == {"saturation", "guiding", "user_maximum"}
    short = by_filter(changed(green=(role, "sub_s = 2")))
    assert set(short["G"].setting.broken) == {"read_noise", "user_minimum"}
    assert free["G"].setting.broken == ()


def test_a_class_may_be_pinned_and_a_filter_stands_before_it() -> None:
    config = changed(
        sub=("[preferences.sub]", 'narrow_s = 240\nnarrow_gain = "low"\nbroad_s = 90'),
        ha=('role = "H-alpha"', "sub_s = 420"),
    )
    found = by_filter(config)
    assert {name: found[name].sub_s for name in found} == {
        "L": 90.0, "R": 90.0, "G": 90.0, "B": 90.0, "Ha": 420.0, "OIII": 240.0, "SII": 240.0,
    }  # fmt: skip
    assert {found[name].gain for name in ("Ha", "OIII", "SII")} == {"low"}


def test_lengths_come_from_the_users_own_set_and_within_his_bounds() -> None:
    text = starter_text().replace(
        "lengths_s = [30, 60, 120, 180, 300, 600]", "lengths_s = [45, 240]"
    )
    text = text.replace("longest_s = 600", "longest_s = 240", 1)
    assert {one.sub_s for one in filter_budgets(parse_config(text), "flattener")} <= {45.0, 240.0}
    # No round length lies between 70 and 100 s: the nearer bound is taken, not overridden.
    tight = starter_text().replace("shortest_s = 10", "shortest_s = 70", 1)
    tight = tight.replace("longest_s = 600", "longest_s = 100", 1)
    for one in filter_budgets(parse_config(tight), "flattener"):
        assert 70.0 <= one.sub_s <= 100.0


def test_darks_at_hand_are_preferred_where_that_costs_little() -> None:
    free = by_filter(CONFIG)["L"]
    near = {60.0: 120.0, 120.0: 60.0, 180.0: 120.0, 30.0: 60.0}[free.sub_s]
    library = CONFIG.calibration.model_copy(update={"dark_library": ((free.gain, near + 5.0),)})
    with_darks = by_filter(CONFIG.model_copy(update={"calibration": library}))["L"]
    speeds = [
        clock_speed(one, one.gain, one.sub_s, CONFIG) for one in (free, with_darks)
    ]  # fmt: skip
    assert with_darks.sub_s in (free.sub_s, near + 5.0)
    assert speeds[1] >= 0.9 * speeds[0]
    own = CONFIG.calibration.model_copy(update={"dark_library": ((free.gain, 110.0),)})
    taken = by_filter(CONFIG.model_copy(update={"calibration": own}))
    assert {taken[name].sub_s for name in "LRGB"} == {110.0}
    burnt = CONFIG.calibration.model_copy(update={"dark_library": ((free.gain, 600.0),)})
    assert by_filter(CONFIG.model_copy(update={"calibration": burnt}))["L"].sub_s == free.sub_s


@pytest.mark.parametrize(
    ("lines", "key"),
    [
        ({"f": ('role = "green"', 'gain = "middle"')}, "filter.G.gain"),
        ({"f": ('role = "green"', "sub_s = 0")}, "filter.G.sub_s"),
        ({"f": ("[preferences.sub]", 'broad_gain = "x"')}, "preferences.sub.broad_gain"),
        ({"f": ("[calibration]", 'dark_library = [["x", 60]]')}, "calibration.dark_library"),
    ],
)
def test_a_wrong_pin_is_refused_by_key(lines: dict[str, str], key: str) -> None:
    with pytest.raises(ConfigError, match=key):
        changed(**lines)


def gaussian_share(scale_arcsec: float, fwhm_arcsec: float) -> float:
    sigma = fwhm_arcsec / 2.3548
    return math.erf(scale_arcsec / 2.0 / (math.sqrt(2.0) * sigma)) ** 2


@pytest.mark.parametrize(("name", "train", "gain"), [
    ("L", "flattener", "low"), ("B", "flattener", "high"), ("R", "reducer", "low"),
])  # fmt: skip
def test_saturation_of_a_star_by_hand(name: str, train: str, gain: str) -> None:
    # A star of AB 13 gives 996 photons/s/cm²/Å × 550/λ at AB 0 (5.48e10 per Hz-octave, from
    # 3631 Jy / h); 98.5 cm² of aperture, extinction, optics 0.95 × 0.97 (or 0.96), the filter's
    # peak and the sensor's efficiency at its centre, and the Gaussian of 2.5 arcsec seeing with
    # 1.03 λ/D in quadrature over the pixel in the middle.
    item = CONFIG.filter[name]
    efficiency = np.interp(item.centre_nm, *np.transpose(CONFIG.camera.quantum_efficiency))
    if name == "L":
        efficiency = 0.82  # mean from 400 to 700 nm
    scale = 206.265 * 3.9 / 784.0 / CONFIG.train[train].factor
    photons = 996.0 * 550.0 / item.centre_nm * item.width_nm * 10.0 * 98.52 * 10.0 ** (-0.4 * 13.0)
    extinction = {"L": 0.24, "B": 0.38, "R": 0.17}[name]
    electrons = photons * 10.0 ** (-0.4 * extinction) * item.peak_transmission * efficiency
    electrons *= 0.95 * CONFIG.train[train].transmission
    fwhm = math.hypot(2.5, 1.03 * item.centre_nm * 1e-6 / 112.0 * 206_265.0)
    sub = CONFIG.preferences.sub.model_copy(update={"broad_gain": gain, "broad_s": 60.0})
    budget = by_filter(_with_sub(sub), train)[name]
    level = min(CONFIG.camera.gain[gain].full_well_e, CONFIG.camera.gain[gain].e_per_adu * 65535)
    rate = electrons * gaussian_share(scale, fwhm) + budget.reference_sky_e_s
    assert budget.limits.saturation_s == pytest.approx(level / rate, rel=0.1)
    brighter = CONFIG.preferences.sub.model_copy(update={
        "broad_gain": gain, "broad_s": 60.0, "unsaturated_star_mag": 10.5,
    })  # fmt: skip
    ten_times = by_filter(_with_sub(brighter), train)[name].limits.saturation_s
    assert ten_times == pytest.approx(budget.limits.saturation_s / 10.0, rel=0.12)


def test_orions_core_in_h_alpha_by_hand() -> None:
    # 1,000,000 R (remembered; light/data/core_brightness.csv) × 1.87e-6 photons/s/cm²/arcsec²;
    # 98.5 cm², 1.368 arcsec a pixel, filter 0.88, QE 0.70, optics 0.95 × 0.96: 216 e-/s/pixel, and
    # some N II. 18,000 e- fill in 83 s; of that 0.8, so 60 s would do, and twenty of 30 s take ten
    # minutes.
    catalog = load_catalog()
    orion = catalog.target(catalog.find("M 42"))
    found = short_set(CONFIG, orion, "reducer")
    assert found is not None
    rate = 1e6 * PHOTONS_PER_RAYLEIGH * 98.52 * (206.265 * 3.9 / 784.0 / 0.75) ** 2
    rate *= 0.88 * 0.70 * 0.95 * 0.96
    assert (found.filters, found.gain, found.sub_s) == (("Ha",), "high", 30.0)
    assert found.count == CONFIG.preferences.sub.short_subs
    assert found.core_fill == pytest.approx(600.0 * rate / 18_000.0, rel=0.15)
    assert found.sub_s * rate <= ROOM * 18_000.0


def test_the_core_of_m31_in_luminance_by_hand() -> None:
    # V 15.2 (remembered), V = AB: 996 × 3000 Å × 10^(-0.4 × 15.2) = 2.48 photons/s/cm²/arcsec²;
    # 98.5 cm², 1.026 arcsec a pixel, filter 0.97, QE 0.82, optics 0.95 × 0.97: 188 e-/s/pixel.
    catalog = load_catalog()
    galaxy = catalog.target(catalog.find("M 31"))
    rate = 996.0 * 3000.0 * 10.0 ** (-0.4 * 15.2) * 98.52 * (206.265 * 3.9 / 784.0) ** 2
    rate *= 0.97 * 0.82 * 0.95 * 0.97
    for gain, sub_s, full_e in (("high", 120.0, 18_000.0), ("low", 600.0, 50_000.0)):
        pins = CONFIG.preferences.sub.model_copy(update={"broad_gain": gain, "broad_s": sub_s})
        found = short_set(_with_sub(pins), galaxy, "flattener")
        assert found is not None
        assert found.core_fill == pytest.approx(sub_s * rate / full_e, rel=0.12)
        assert found.sub_s * rate <= 1.1 * ROOM * full_e
        assert found.sub_s < sub_s
        assert found.open_s <= LONGEST_SET_S
        assert not found.clips_still
    short = CONFIG.preferences.sub.model_copy(update={"broad_gain": "low", "broad_s": 60.0})
    assert short_set(_with_sub(short), galaxy, "flattener") is None


def test_no_short_subs_where_none_are_wanted() -> None:
    catalog = load_catalog()
    orion = catalog.target(catalog.find("M 42"))
    none = CONFIG.preferences.sub.model_copy(update={"short_subs": 0})
    assert short_set(_with_sub(none), orion, "reducer") is None


def test_what_has_no_bright_core_needs_no_short_set() -> None:
    catalog = load_catalog()
    for name in ("NGC 7000", "M 45", "M 33", "NGC 1499"):
        target = catalog.target(catalog.find(name))
        assert short_set(CONFIG, target, "reducer") is None


def test_a_setting_is_of_its_own_filter_where_its_bound_binds() -> None:
    for budget in filter_budgets(CONFIG, "flattener"):
        setting = budget.setting
        if setting.decided_by != budget.filter:
            other = by_filter(CONFIG)[setting.decided_by].setting
            assert (other.gain, other.sub_s, other.bound) == (
                setting.gain, setting.sub_s, setting.bound,
            )  # fmt: skip
        assert dataclasses.asdict(setting)["sub_s"] == budget.sub_s
