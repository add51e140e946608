"""What looks odd in a configuration, in a sentence each."""

from __future__ import annotations

from nightplan.number_forms import MINUS, percent
from nightplan.planning.optics.rig_oddities import Oddity

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
