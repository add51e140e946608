"""The one configuration file: site, horizon, rig and preferences."""

from __future__ import annotations

import difflib
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any, get_args, get_origin

from pydantic import Field, PrivateAttr, ValidationError, model_validator

from nightplan.errors import ConfigError, FileError, UnknownKeyError
from nightplan.files import read_text
from nightplan.model.camera import Calibration, Camera
from nightplan.model.channels import Channel, channels_of
from nightplan.model.equipment import Focuser, Mount, Power, Rotator
from nightplan.model.filters import Filter, FilterWheel, Role, check_loaded, with_loaded
from nightplan.model.guider import Guider
from nightplan.model.optical_train import MOST_TRAINS, Optics, Train
from nightplan.model.preferences import Goal, OwnTarget, Preferences
from nightplan.model.rigs_and_sites import MAIN, OtherRig, OtherSite, with_rig, with_site
from nightplan.model.section import KeyedValueError, Section, accepted_words
from nightplan.model.site import HorizonProfile, Site, parse_horizon_csv
from nightplan.model.target import KINDS
from nightplan.model.wishes import GOAL_BY_FILTER, FramingWish, RecipeWish
from nightplan.parsing import parse_toml


class Config(Section):
    """A whole configuration, valid and frozen.

    `path` is the file it came from; other files that it names are relative to that file.
    """

    site: Site
    horizon: HorizonProfile = HorizonProfile()
    optics: Optics
    train: Annotated[dict[str, Train], Field(min_length=1, max_length=MOST_TRAINS)]
    camera: Camera
    wheel: FilterWheel
    filter: Annotated[dict[str, Filter], Field(min_length=1)]
    mount: Mount = Mount()
    rotator: Rotator | None = None
    guider: Guider | None = None
    focuser: Focuser = Focuser()
    power: Power | None = None
    calibration: Calibration = Calibration()
    preferences: Preferences = Preferences()
    target: dict[str, OwnTarget] = Field(default_factory=dict)
    goal: dict[str, Goal] = Field(default_factory=dict)
    recipe: dict[str, RecipeWish] = Field(default_factory=dict)
    framing: dict[str, FramingWish] = Field(default_factory=dict)
    other_rig: dict[str, OtherRig] = Field(default_factory=dict)
    other_site: dict[str, OtherSite] = Field(default_factory=dict)

    _path: Path = PrivateAttr(default=Path("nightplan.toml"))
    _owned: dict[str, Filter] = PrivateAttr(default_factory=dict)
    _named_rig: str = PrivateAttr(default="")
    _first_site: tuple[Site, HorizonProfile] | None = PrivateAttr(default=None)
    _channels: tuple[Any, Any, dict[str, Channel]] | None = PrivateAttr(default=None)
    _constraints: tuple[Any, ...] = PrivateAttr(default=())

    @model_validator(mode="after")
    def _hangs_together(self) -> Config:
        for key, table in (("rig", self.other_rig), ("site", self.other_site)):
            names = (MAIN, *table)
            chosen = getattr(self.preferences, key)
            if chosen not in names:
                raise KeyedValueError(f"preferences.{key}", chosen, f"one of {', '.join(names)}")
            if MAIN in table:
                raise KeyedValueError(f"other_{key}", MAIN, "another name: that is the first one")
        self.check_together()
        return self

    def check_together(self) -> None:
        """Raise KeyedValueError where tables of the rig in use contradict each other."""
        check_loaded(self)
        self._check_light()
        sub = self.preferences.sub
        named: list[tuple[str, str | None]] = [
            *((f"filter.{name}.gain", item.gain) for name, item in self.filter.items()),
            ("preferences.sub.broad_gain", sub.broad_gain),
            ("preferences.sub.narrow_gain", sub.narrow_gain),
            *(("calibration.dark_library", gain) for gain, _ in self.calibration.dark_library),
        ]
        for key, gain in named:
            if gain is not None and gain not in self.camera.gain:
                raise KeyedValueError(key, gain, f"one of {', '.join(self.camera.gain)}")
        for kind in self.recipe:
            if kind not in KINDS:
                raise KeyedValueError("recipe", kind, f"a kind: one of {', '.join(KINDS)}")
        # A goal may name what another rig of the file has; `with_rig` leaves out what this has not.
        filters = self._of_all_rigs("filter")
        for name, channel in self.channel.items():
            if name != channel.filter and name in self.filter:
                accepted = f"another name: {channel.filter} makes a picture of that name"
                raise KeyedValueError("filter", name, accepted)
        channels = {f"{name} {role}" for name in filters for role in get_args(Role)}
        trains = self._of_all_rigs("train")
        tables: list[tuple[str, Any, tuple[str, ...]]] = [
            *((f"goal.{owner}", goal, GOAL_BY_FILTER) for owner, goal in self.goal.items()),
            *((f"recipe.{kind}", wish, ("shares",)) for kind, wish in self.recipe.items()),
        ]  # fmt: skip
        for owner, table, keys in tables:
            for key in keys:
                for name in getattr(table, key):
                    if name not in filters and name not in channels:
                        raise KeyedValueError(
                            f"{owner}.{key}", name, f"one of {', '.join(filters)}"
                        )
        for owner, framing in self.framing.items():
            if framing.train is not None and framing.train not in trains:
                raise KeyedValueError(
                    f"framing.{owner}.train", framing.train, f"one of {', '.join(trains)}"
                )

    def _check_light(self) -> None:
        """Raise KeyedValueError where optics, camera and filters together take no picture."""
        for name, train in self.train.items():
            focal_ratio = self.optics.focal_length_mm * train.factor / self.optics.aperture_mm
            if not FASTEST <= focal_ratio <= SLOWEST:
                raise KeyedValueError(
                    f"train.{name}.factor",
                    train.factor,
                    f"a focal ratio from {FASTEST:g} to {SLOWEST:g}; with optics.aperture_mm and "
                    f"optics.focal_length_mm this one is {focal_ratio:.3g}",
                )
        for name, one in self.filter.items():
            if name.endswith(" short"):
                # It would be taken for the short set of another one.
                raise KeyedValueError(
                    f"filter.{name}", name, 'a name that does not end in " short"'
                )
            if self.camera.efficiency_between(one.low_nm, one.high_nm) < LEAST_EFFICIENCY:
                raise KeyedValueError(
                    "camera.quantum_efficiency",
                    [list(point) for point in self.camera.quantum_efficiency],
                    f"a curve that reaches {LEAST_EFFICIENCY:g} in the passband of filter {name}",
                )

    def _of_all_rigs(self, key: str) -> dict[str, None]:
        tables = [getattr(self, key), *(getattr(rig, key) for rig in self.other_rig.values())]
        return dict.fromkeys(name for table in tables for name in table or ())

    @property
    def channel(self) -> dict[str, Channel]:
        """What the subs through the filters are counted towards, by name, in their order."""
        known = self._channels
        if known is None or known[0] is not self.filter or known[1] is not self.camera:
            channels = channels_of(self.camera.colour, self.filter)
            self._channels = known = (self.filter, self.camera, channels)
        return known[2]

    def __eq__(self, other: object) -> bool:
        # Where a configuration was read from is no part of what it says.
        return isinstance(other, Config) and self.__dict__ == other.__dict__

    __hash__ = None  # type: ignore[assignment]

    @property
    def constraints(self) -> tuple[Any, ...]:
        """astroplan constraints that a call laid beside the limits; no file has any."""
        return self._constraints

    def constrained(self, constraints: Iterable[Any]) -> Config:
        """The same configuration with astroplan constraints beside its limits."""
        copy = self.model_copy()
        copy._constraints = tuple(constraints)
        return copy

    @property
    def path(self) -> Path:
        """The file that this configuration was read from."""
        return self._path

    @property
    def rig_name(self) -> str:
        """The rig in words, by what cannot change in a night: aperture, focal length, camera."""
        optics, camera = self.optics, self.camera
        named = f"{self._named_rig}: " if self._named_rig else ""
        return (
            f"{named}{optics.aperture_mm:g} mm, focal length {optics.focal_length_mm:g} mm, "
            f"{camera.width_px} × {camera.height_px} px of {camera.pixel_um:g} µm"
        )

    @property
    def named_rig(self) -> str:
        """The name that the file gives the rig in use; empty for the only one of a file."""
        return self._named_rig

    @property
    def first_site(self) -> tuple[Site, HorizonProfile]:
        """The site at the top of the file, and its skyline, whichever site is in use."""
        return self._first_site or (self.site, self.horizon)

    @property
    def with_all_filters(self) -> Config:
        """The same with every owned filter, whatever the wheel carries now: for what was shot."""
        return self.model_copy(update={"filter": self._owned}) if self._owned else self

    @property
    def off_axis_guider(self) -> Guider | None:
        """The guider, if it is one with a prism in the main beam."""
        guider = self.guider
        return guider if guider is not None and guider.kind == "off_axis" else None

    @property
    def folder(self) -> Path:
        """The folder of the configuration file, where the journal lies too."""
        return self._path.resolve().parent


class _Missing:
    def __repr__(self) -> str:
        return "(missing)"


MISSING = _Missing()

FASTEST, SLOWEST = 0.7, 60.0
"""Focal ratios of what takes pictures; below 0.5 no lens can be (Abbe's sine condition)."""
LEAST_EFFICIENCY = 0.001
"""Electrons per photon; less is a typing error, such as a curve in the wrong unit."""

MOST_BYTES = 2**20
"""Largest configuration file that is read; the starter file has 2 % of it."""


def load_config(
    path: str | os.PathLike[str], *, rig: str | None = None, site: str | None = None
) -> Config:
    """Read and check a configuration file, for one of its rigs and sites.

    Parameters
    ----------
    path : path
    rig, site : str, optional
        Names under `other_rig` and `other_site`, or `main` for those at the top of the file; by
        default `preferences.rig` and `preferences.site`.

    Raises
    ------
    FileError
        The file, or the horizon file it names, is missing or is not TOML.
    ConfigError
        A key's value is outside its accepted range, or a required key is missing.
    UnknownKeyError
        A key is not known; the nearest valid key is named.
    InputError
        There is no such rig or site.
    """
    try:
        text = read_text(path, MOST_BYTES)
    except FileError as error:
        if isinstance(error.__cause__, FileNotFoundError):
            raise FileError(
                path, "no such file; `nightplan start` writes one to begin with"
            ) from error
        raise
    return parse_config(text, path, rig=rig, site=site)


def parse_config(
    text: str,
    source: str | os.PathLike[str] = "nightplan.toml",
    *,
    rig: str | None = None,
    site: str | None = None,
) -> Config:
    """Check the text of a configuration; errors name `source`. Raises as `load_config`."""
    name = os.fspath(source)
    tables = _read_horizon(parse_toml(name, text), Path(name))
    if isinstance(others := tables.get("other_site"), dict):
        tables["other_site"] = {
            key: _read_horizon(one, Path(name)) if isinstance(one, dict) else one
            for key, one in others.items()
        }
    try:
        config = Config.model_validate(tables)
    except ValidationError as error:
        raise _first_error(name, error) from None
    config._path = Path(name)
    for one in config.other_rig:
        try:
            with_rig(config, one)
        except KeyedValueError as error:
            key = f"other_rig.{one}.{error.key}"
            raise ConfigError(name, key, error.value, error.accepted) from None
    chosen = with_site(with_rig(config, rig), site)
    loaded = with_loaded(chosen)
    loaded._owned = chosen.filter
    return loaded


def _read_horizon(tables: dict[str, Any], source: Path) -> dict[str, Any]:
    horizon = tables.get("horizon")
    if not isinstance(horizon, dict) or not isinstance(horizon.get("csv"), str):
        return tables
    if horizon.get("profile_deg"):
        return tables
    file = source.parent / horizon["csv"]
    pairs = parse_horizon_csv(str(file), read_text(file))
    rest = {key: value for key, value in horizon.items() if key != "csv"}
    return {**tables, "horizon": {**rest, "profile_deg": [list(pair) for pair in pairs]}}


def _first_error(source: str, error: ValidationError) -> ConfigError | UnknownKeyError:
    """The first complaint as one line; unknown keys lead, for they often cause the rest."""
    found = sorted(error.errors(), key=lambda item: item["type"] != "extra_forbidden")[0]
    steps = [step for step in found["loc"] if step != "[key]"]
    key = ".".join(str(step) for step in steps) or "the file"
    if found["type"] == "extra_forbidden":
        return UnknownKeyError(source, key, _nearest_keys(steps), found["input"])
    if found["type"] == "missing":
        return ConfigError(source, key, MISSING, f"{_accepted(steps)} (the key is required)")
    if found["type"] == "value_error":
        reason = found["ctx"]["error"]
        if isinstance(reason, KeyedValueError):
            owner = f"{key}." if steps else ""
            value = MISSING if reason.value is None else reason.value
            return ConfigError(source, owner + reason.key, value, reason.accepted)
        return ConfigError(source, key, found["input"], str(reason))
    value = found["input"]
    return ConfigError(source, key, value, _accepted(steps) or found["msg"])


def _nearest_keys(steps: list[Any]) -> list[str]:
    owner = _walk(steps[:-1])
    wrong = str(steps[-1])
    prefix = ".".join(str(step) for step in steps[:-1])
    siblings = list(owner.model_fields) if owner is not None else []
    near = difflib.get_close_matches(wrong, siblings, n=1, cutoff=0.5)
    if near:
        return [f"{prefix}.{near[0]}" if prefix else near[0]]
    everywhere = _all_keys(Config)
    # Keys of the first rig and site stand before those of others.
    leaf = {key.rsplit(".", 1)[-1]: key for key in reversed(everywhere)}
    match = difflib.get_close_matches(wrong, list(leaf), n=1, cutoff=0.6)
    if match:
        return [leaf[match[0]]]
    return [f"{prefix}.{siblings[0]}"] if siblings and prefix else []


def _all_keys(model: type[Section], prefix: str = "") -> list[str]:
    keys: list[str] = []
    for name, field in model.model_fields.items():
        keys.append(prefix + name)
        inner = _section_of(field.annotation)
        if inner is not None:
            named = f"{name}.NAME" if _is_named_table(field.annotation) else name
            keys.extend(_all_keys(inner, f"{prefix}{named}."))
    return keys


def _is_named_table(annotation: Any) -> bool:
    if get_origin(annotation) is dict:
        return True
    return any(_is_named_table(arg) for arg in get_args(annotation))


def _section_of(annotation: Any) -> type[Section] | None:
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation
    for arg in get_args(annotation):
        inner = _section_of(arg)
        if inner is not None:
            return inner
    return None


def _walk(steps: list[Any]) -> type[Section] | None:
    owner: type[Section] | None = Config
    named = False
    for step in steps:
        if named:
            named = False
            continue
        if owner is None or step not in owner.model_fields:
            return None
        annotation = owner.model_fields[step].annotation
        named = _is_named_table(annotation)
        owner = _section_of(annotation)
    return owner


def _accepted(steps: list[Any]) -> str:
    """What the key at `steps` accepts, in words."""
    for depth in range(len(steps), 0, -1):
        owner = _walk(steps[: depth - 1])
        if owner is not None and steps[depth - 1] in owner.model_fields:
            field = owner.model_fields[steps[depth - 1]]
            if depth < len(steps) and get_origin(field.annotation) is dict:
                return accepted_words(get_args(field.annotation)[1])
            return accepted_words(field.annotation, field.metadata)
    return ""
