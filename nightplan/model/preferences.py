"""What the imager wants of a night: limits, sub lengths, dither, goals."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from nightplan.light.sub_length import ROUND_S
from nightplan.model.section import ClockTime, KeyedValueError, Listed, Names, Section
from nightplan.model.wishes import RecipeWish

DarkClass = Literal["astronomical", "nautical"]
Balance = Literal["diminishing", "even", "plain"]


class MoonDistance(Section):
    """Least distance from a full moon that is up, by class of filter, deg.

    The rule holds only while the moon is up, and is scaled by its illuminated fraction.
    """

    broadband_deg: Annotated[float, Field(ge=0.0, le=180.0)] = 60.0
    h_alpha_deg: Annotated[float, Field(ge=0.0, le=180.0)] = 30.0
    s_ii_deg: Annotated[float, Field(ge=0.0, le=180.0)] = 30.0
    o_iii_deg: Annotated[float, Field(ge=0.0, le=180.0)] = 50.0


class SubLengths(Section):
    """Bounds on one sub-exposure, and lengths and gains that are kept exactly.

    Lengths come from `lengths_s`. `broad_s`, `broad_gain`, `narrow_s` and `narrow_gain` hold for
    every filter of the class; a filter's own `sub_s` and `gain` stand before them. Where the
    normal sub burns out a target's core, `short_subs` shorter ones go with it (0: never).
    """

    shortest_s: Annotated[float, Field(ge=0.01, le=3600.0)] = 10.0
    longest_s: Annotated[float, Field(ge=0.01, le=7200.0)] = 600.0
    guiding_longest_s: Annotated[float, Field(ge=0.01, le=7200.0)] = 600.0
    extra_noise: Annotated[float, Field(ge=0.001, le=1.0)] = 0.05
    overhead_share: Annotated[float, Field(ge=0.001, le=1.0)] = 0.1
    unsaturated_star_mag: Annotated[float, Field(ge=-2.0, le=20.0)] = 13.0
    lengths_s: Annotated[
        tuple[Annotated[float, Field(ge=0.01, le=7200.0)], ...], Listed, Field(min_length=1)
    ] = ROUND_S
    broad_s: Annotated[float, Field(ge=0.01, le=7200.0)] | None = None
    narrow_s: Annotated[float, Field(ge=0.01, le=7200.0)] | None = None
    broad_gain: str | None = None
    narrow_gain: str | None = None
    short_subs: Annotated[int, Field(ge=0, le=1000)] = 20

    @model_validator(mode="after")
    def _ordered(self) -> SubLengths:
        if self.longest_s < self.shortest_s:
            raise KeyedValueError(
                "longest_s", self.longest_s, f"at least shortest_s, {self.shortest_s:g}"
            )
        return self


class Dither(Section):
    """How often the frame is nudged, and what that costs."""

    every_subs: Annotated[int, Field(ge=1, le=1000)] = 3
    move_s: Annotated[float, Field(ge=0.0, le=300.0)] = 5.0


class RejectSubs(Section):
    """Which collected subs do not count, by cards on the stars in them: fewer than this share of
    the evening's median (0: never), or wider than so many times the median (100: hardly ever)."""

    fewest_stars: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.5
    widest_stars: Annotated[float, Field(gt=1.0, le=100.0)] = 1.6


class Setup(Section):
    """Work between arrival and the first sub; only what runs into the window is charged.

    The rig stands ready for cooling at sunset unless `arrival`, or `leave` and the site's
    `drive_min`, say when the imager is there; `assembly_min` then pass first. Both are times on
    the site's clocks.
    """

    arrival: ClockTime | None = None
    leave: ClockTime | None = None
    assembly_min: Annotated[float, Field(ge=0.0, le=240.0)] = 0.0
    cooling_min: Annotated[float, Field(ge=0.0, le=120.0)] = 15.0
    polar_alignment_min: Annotated[float, Field(ge=0.0, le=120.0)] = 12.0
    stars_show_sun_deg: Annotated[float, Field(ge=-18.0, le=0.0)] = -8.0
    first_focus_min: Annotated[float, Field(ge=0.0, le=60.0)] = 6.0
    plate_solution_min: Annotated[float, Field(ge=0.0, le=60.0)] = 2.0
    angle_min: Annotated[float, Field(ge=0.0, le=60.0)] = 3.0
    guider_calibration_min: Annotated[float, Field(ge=0.0, le=60.0)] = 5.0

    @model_validator(mode="after")
    def _one_clock(self) -> Setup:
        if self.arrival is not None and self.leave is not None:
            raise KeyedValueError("leave", self.leave, "none beside arrival")
        return self


class ChangeCost(Section):
    """What a change costs beyond its minutes, in equivalent hours of a target of priority 1."""

    filter_change: Annotated[float, Field(ge=0.0, le=10.0)] = 0.01
    target_change: Annotated[float, Field(ge=0.0, le=10.0)] = 0.03
    new_angle: Annotated[float, Field(ge=0.0, le=10.0)] = 0.05
    train_change: Annotated[float, Field(ge=0.0, le=10.0)] = 0.25


class Preferences(Section):
    """Everything that is a matter of taste or habit.

    `rig` and `site` are used where none is asked for: `main` is the one at the top of the file.

    With `allow_train_change` the plan may bolt on another train in the night where that pays:
    `train_change_min` pass from the last sub through one to the other standing ready, before the
    camera is turned, the field centred and focused; `change_cost.train_change` is what it costs
    beside. `turn_by_hand_min` passes between targets of different camera angle where there is no
    [rotator] (5 minutes: common practice, no source); a rotator turns at `rotator.deg_per_s`.

    The night's window is as wide as the class of filters allows that asks for the least darkness,
    `dark_broadband` or `dark_narrowband`; the other class works inside it while it is dark enough.

    Hours of a goal follow from the target's brightness and `wanted_snr`, unless `goal_hours` sets
    them for every target; `star_colour_min` is the time of each of R, G and B for the stars of
    what is shot in lines.
    """

    rig: str = "main"
    site: str = "main"
    targets: Names = ()
    minimum_altitude_deg: Annotated[float, Field(ge=0.0, le=89.0)] = 30.0
    margin_arcmin: Annotated[float, Field(ge=0.0, le=600.0)] = 5.0
    mosaic_overlap: Annotated[float, Field(ge=0.0, le=0.6)] = 0.15
    mosaic_most_panels: Annotated[int, Field(ge=1, le=100)] = 6
    wanted_snr: Annotated[float, Field(ge=0.1, le=10_000.0)] = 30.0
    goal_hours: Annotated[float, Field(ge=0.01, le=1000.0)] | None = None
    star_colour_min: Annotated[float, Field(ge=0.0, le=600.0)] = 20.0
    tonight_most_targets: Annotated[int, Field(ge=1, le=12)] = 2
    dark_broadband: DarkClass = "astronomical"
    dark_narrowband: DarkClass = "astronomical"
    shortest_block_min: Annotated[float, Field(ge=0.0, le=600.0)] = 20.0
    longest_block_min: Annotated[float, Field(ge=1.0, le=1440.0)] = 240.0
    tear_down: ClockTime | None = None
    balance: Balance = "diminishing"
    allow_train_change: bool = False
    train_change_min: Annotated[float, Field(ge=0.0, le=240.0)] = 30.0
    turn_by_hand_min: Annotated[float, Field(ge=0.0, le=60.0)] = 5.0
    clear_night_chance: Annotated[float, Field(ge=0.0, le=1.0)] = 0.5
    moon_distance: MoonDistance = MoonDistance()
    sub: SubLengths = SubLengths()
    dither: Dither = Dither()
    setup: Setup = Setup()
    reject: RejectSubs = RejectSubs()
    change_cost: ChangeCost = ChangeCost()

    @model_validator(mode="after")
    def _ordered(self) -> Preferences:
        if self.longest_block_min < self.shortest_block_min:
            accepted = f"at least shortest_block_min, {self.shortest_block_min:g}"
            raise KeyedValueError("longest_block_min", self.longest_block_min, accepted)
        return self


class Goal(RecipeWish):
    """What the imager wants of one target, filter by filter.

    A recipe or shares of filters stand before what the program would choose; `goal_hours` are
    equivalent hours over all filters. `hours` are equivalent hours by filter; `snr` is the signal
    to noise per square arcsecond that the stack should reach, and stands before `hours` for its
    filter; both stand before the recipe. `gathered_hours` are there already, beside what the
    journal knows, whatever the train. `tonight_hours` are the least that each night should bring by
    filter, before anything else, as far as the night can. Of a mosaic `hours` and `gathered_hours`
    are those of each panel.
    """

    priority: Annotated[float, Field(ge=0.001, le=100.0)] = 1.0
    goal_hours: Annotated[float, Field(ge=0.01, le=1000.0)] | None = None
    hours: dict[str, Annotated[float, Field(ge=0.01, le=1000.0)]] = Field(default_factory=dict)
    gathered_hours: dict[str, Annotated[float, Field(ge=0.0, le=10_000.0)]] = Field(
        default_factory=dict
    )
    snr: dict[str, Annotated[float, Field(ge=0.1, le=10_000.0)]] = Field(default_factory=dict)
    tonight_hours: dict[str, Annotated[float, Field(ge=0.0, le=24.0)]] = Field(default_factory=dict)
    position_angle_deg: Annotated[float, Field(ge=0.0, lt=180.0)] | None = None


class OwnTarget(Section):
    """A target that the catalogue lacks, or that the imager knows better (ICRS)."""

    ra_deg: Annotated[float, Field(ge=0.0, lt=360.0)]
    dec_deg: Annotated[float, Field(ge=-90.0, le=90.0)]
    major_arcmin: Annotated[float, Field(ge=0.01, le=3000.0)]
    minor_arcmin: Annotated[float, Field(ge=0.01, le=3000.0)] | None = None
    angle_deg: Annotated[float, Field(ge=0.0, lt=180.0)] | None = None
    kind: str = "other"
    magnitude_v: Annotated[float, Field(ge=-30.0, le=30.0)] | None = None
    surface_brightness_mag_arcsec2: Annotated[float, Field(ge=5.0, le=35.0)] | None = None
    radial_velocity_km_s: Annotated[float, Field(ge=-300_000.0, le=300_000.0)] | None = None
