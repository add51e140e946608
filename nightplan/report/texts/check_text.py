"""A configuration read back as a practitioner would say it, then what looks odd."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from nightplan.number_forms import MINUS, number, percent
from nightplan.planning.optics.rig_oddities import Oddity
from nightplan.report.wording.screen import styled
from nightplan.report.wording.text_table import heading, paragraph
from nightplan.report.wording.words import counted

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.report.documents.check import CheckDocument


def check_text(document: CheckDocument, config: Config) -> str:
    """Site, optics, camera, filters, the rest of the rig and the habits, a line each."""
    lines = [heading(f"{document.config} is valid")]
    lines += [paragraph(words, indent=f"{name:<9}") for name, words in _lines(document, config)]
    if not document.odd:
        lines += ["", styled(paragraph("Nothing looks odd."), "good")]
        return "\n".join(lines) + "\n"
    lines += ["", heading(f"{counted(len(document.odd), 'thing')} to look at twice")]
    lines += [
        styled(paragraph(f"{row.key}: {row.words}.", indent="- "), "warning")
        for row in document.odd
    ]
    return "\n".join(lines) + "\n"


def _lines(document: CheckDocument, config: Config) -> Iterator[tuple[str, str]]:
    yield "Site", _site(config)
    yield "Skyline", _skyline(config)
    for row in document.trains:
        yield (
            "Train",
            f"{row.train}: {row.focal_length_mm:.0f} mm, f/{row.f_ratio:.1f}, "
            f"{row.image_scale_arcsec_px:.2f}″ a pixel, field {row.field_width_deg:.2f}° × "
            f"{row.field_height_deg:.2f}°, {row.pixels_per_fwhm:.1f} pixels per star "
            f"({row.sampling})",
        )
    yield "Camera", _camera(config)
    yield "Filters", _filters(config)
    yield "Mount", _mount(config)
    yield "Guider", _guider(config)
    yield "Habits", _habits(config)


def _site(config: Config) -> str:
    site = config.site
    north = "N" if site.latitude_deg >= 0.0 else "S"
    east = "E" if site.longitude_deg >= 0.0 else "W"
    sky = (
        f"{site.sky_mag_arcsec2:g} mag/arcsec² at the zenith"
        if site.sky_mag_arcsec2 is not None
        else f"Bortle {site.bortle_class}"
    )
    return (
        f"{site.name}, {abs(site.latitude_deg):.2f}° {north} {abs(site.longitude_deg):.2f}° "
        f"{east}, {site.elevation_m:.0f} m, {site.timezone}; {sky}, lamps {site.lamp_light}, "
        f"seeing {number(site.seeing_arcsec)}″"
    )


def _skyline(config: Config) -> str:
    profile = config.horizon.profile_deg
    least = config.preferences.minimum_altitude_deg
    if not profile:
        return f"flat; nothing is shot below {number(least)}°"
    heights = [altitude for _, altitude in profile]
    azimuth = max(profile, key=lambda point: point[1])[0]
    words = ["N", "NE", "E", "SE", "S", "SW", "W", "NW"]
    highest = words[round(azimuth / 45.0) % 8]
    return (
        f"{number(min(heights))}° to {number(max(heights))}°, highest in the {highest}; nothing "
        f"is shot below {number(least)}°"
    )


def _camera(config: Config) -> str:
    camera = config.camera
    gains = "; ".join(
        f"gain {name}: {number(gain.read_noise_e)} e⁻ noise, {gain.full_well_e / 1000.0:.0f} ke⁻"
        for name, gain in camera.gain.items()
    )
    return (
        f"{camera.width_px} × {camera.height_px} px of {number(camera.pixel_um, 2)} µm "
        f"({camera.width_mm:.1f} × {camera.height_mm:.1f} mm), "
        f"{number(camera.sensor_temperature_c)} °C; {gains}"
    )


def _filters(config: Config) -> str:
    return ", ".join(
        f"{name} ({number(item.width_nm)} nm)" if item.is_narrow else name
        for name, item in config.filter.items()
    )


def _mount(config: Config) -> str:
    mount, rotator = config.mount, config.rotator
    if mount.track_past_meridian_min > 0.0:
        flip = f"flips {number(mount.track_past_meridian_min)} min past the meridian at the latest"
    elif mount.stop_before_meridian_min > 0.0:
        flip = f"stops {number(mount.stop_before_meridian_min)} min before the meridian"
    else:
        flip = "flips on the meridian"
    if rotator is None:
        return f"{flip}; the camera is turned by hand"
    known = "sense known" if rotator.sense is not None else "sense of rotation not known yet"
    return (
        f"{flip}; rotator {number(rotator.minimum_deg)}° to {number(rotator.maximum_deg)}°, {known}"
    )


def _guider(config: Config) -> str:
    guider = config.guider
    if guider is None:
        return "none configured"
    if guider.kind == "guide_scope":
        return (
            f"guide scope of {number(guider.focal_length_mm)} mm; stars to G "
            f"{number(guider.limit_magnitude)} in {number(guider.exposure_s)} s"
        )
    turns = "turns with the camera" if guider.turns_with_camera else "fixed to the tube"
    return (
        f"off-axis, {guider.side} of the picture, {turns}; stars to G "
        f"{number(guider.limit_magnitude)} in {number(guider.exposure_s)} s"
    )


def _habits(config: Config) -> str:
    preferences, sub = config.preferences, config.preferences.sub
    longest = min(sub.longest_s, sub.guiding_longest_s)
    return (
        f"subs of {number(sub.shortest_s)} to {number(longest)} s, dither every "
        f"{preferences.dither.every_subs}, focus every {number(config.focuser.every_min)} min, "
        f"at most {counted(preferences.tonight_most_targets, 'target')} a night"
    )


SENTENCES = {
    "zone_far_from_longitude": "longitude {longitude_deg:g}° and the zone {timezone} "
    "(UTC{offset_h:+g} h) are far apart; longitudes count positive to the east",
    "darker_than_any_sky": "{sky:.2f} mag/arcsec² is darker than an unlit sky, {darkest:g}",
    "skyline_above_least_altitude": "the skyline is above the least altitude in {share_words} of "
    "all directions",
    "sensor_beyond_circle": "the sensor's diagonal of {diagonal_mm:.1f} mm is larger than the "
    "{circle_mm:g} mm circle of the {train}; {share_words} of the sensor lies inside",
    "sampling": "{pixels:.1f} pixels per star with the {train} ({word})",
    "filter_too_small": "{filters} with {clear_mm:g} mm open pass {share_words} of the light in "
    "the corners with the {train}; {needed_mm:.1f} mm would be open enough",
    "bolted": "{words}",
    "full_well_and_converter": "gain {gain}: the pixel holds {full_well_e:.0f} e⁻, the converter "
    "{range_e:.0f} e⁻",
    "line_outside_filter": "{filter} is for {role} at {line_nm:.1f} nm, which {width_nm:g} nm "
    "around {centre_nm:g} nm do not pass",
    "guiding_shorter_than_longest_sub": "guiding allows {guiding_s:g} s, so subs never reach "
    "longest_s, {longest_s:g} s",
    "guiding_shorter_than_shortest_sub": "guiding allows {guiding_s:g} s, but the shortest sub is "
    "{shortest_s:g} s",
    "sub_longer_than_block": "a sub of {longest_s:g} s is longer than the shortest block, "
    "{block_min:g} min",
    "tracks_far_past": "the mount tracks {minutes:g} min past the meridian: is the tube free of "
    "the tripod all that time?",
    "battery_short": "the battery lasts {hours:.1f} h above its reserve, less than a long night",
}


def oddity_words(oddity: Oddity) -> str:
    """The sentence of an oddity, without a full stop."""
    figures = dict(oddity.figures)
    if "share" in figures:
        figures["share_words"] = percent(float(figures["share"]))
    return SENTENCES[oddity.code].format_map(figures).replace(" -", f" {MINUS}").rstrip(".")
