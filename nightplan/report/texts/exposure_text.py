"""What each filter collects, as text for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.light.line_brightness import CLASS_DEFAULT
from nightplan.number_forms import percent
from nightplan.report.texts.target_line import short_source, target_line
from nightplan.report.wording.local_time import NightClock
from nightplan.report.wording.plan_words import broken_words, short_set_words
from nightplan.report.wording.screen import styled
from nightplan.report.wording.text_table import heading, note, paragraph, text_table
from nightplan.report.wording.words import evening

if TYPE_CHECKING:
    from nightplan.model.site import Site
    from nightplan.report.documents.exposure import ExposureDocument

BOUND_WORDS = {
    "read_noise": "read noise",
    "overhead": "overhead",
    "saturation": "saturation",
    "guiding": "guiding",
    "user_maximum": "maximum",
    "user_minimum": "minimum",
}


def exposure_text(document: ExposureDocument, site: Site, *, full: bool = False) -> str:
    """Lay out sub lengths and what an hour brings; `full` adds rates, trains and sources."""
    clock = NightClock(site.zone, [document.time_utc])
    lines = [
        heading(
            f"{document.target} with the {document.train}, {evening(document.date)} at "
            f"{document.site}, {clock.clock(document.time_utc)} {clock.heading}"
        ),
        paragraph(f"Catalogue: {target_line(document.target_facts)}."),
        paragraph(_sky(document)),
        "",
        _filters(document),
    ]
    if document.short_set is not None:
        lines.append(paragraph(short_set_words(document.short_set)))
    if full:
        lines += ["", _rates(document)]
    lines += [paragraph(words) for words in _rough(document, full)]
    if full and len(document.trains) > 1:
        lines += ["", *_trains(document)]
    lines += [note(words) for words in (*document.notices, *broken_words(document.sub_breaks))]
    if not full:
        lines.append(styled(paragraph("Rates, trains, sources of brightness: --full"), "faint"))
    return "\n".join(lines).rstrip()


READING = (
    "Tidy: time lost by one sub for several filters. S/N of an open hour, per square arcsecond. "
    "Efficiency: against the zenith with no moon."
)
READING_RATES = (
    "The target's rate is at its mean brightness; extra noise: what read noise adds to a sub's."
)


def _sky(document: ExposureDocument) -> str:
    sky = document.sky
    moon = "no moonlight"
    if sky.moonlight_used_v_nl >= 0.5:
        side = "high" if sky.moon_altitude_deg >= 0.0 else "below the horizon"
        moon = f"moon {sky.moon_separation_deg:.0f}° away, {abs(sky.moon_altitude_deg):.0f}° {side}"
    text = (
        f"Target {sky.target_altitude_deg:.0f}° high; sky there "
        f"{sky.total_v_mag_arcsec2:.1f} mag/arcsec² in V"
    )
    if sky.total_v_mag_arcsec2 < sky.dark_v_mag_arcsec2 - 0.05:
        text += f", {sky.dark_v_mag_arcsec2:.1f} without moon and twilight"
    return f"{text}; {moon}; extinction {sky.extinction_v_mag_airmass:.2f} mag an airmass."


def _filters(document: ExposureDocument) -> str:
    rows = [
        [
            row.filter,
            row.gain,
            f"{row.sub_s:g} s",
            "you" if row.sub_pinned else BOUND_WORDS[row.sub_bound],
            percent(row.tidiness_cost_percent / 100.0, plain=True),
            f"{row.snr_one_hour:.1f}",
            percent(row.worth, plain=True),
        ]
        for row in document.filters
    ]
    heads = ["filter", "gain", "sub", "set by", "tidy", "S/N 1 h", "efficiency"]
    return f"{text_table(heads, rows, right=(2, 4, 5, 6))}\n{paragraph(READING)}"


def _rates(document: ExposureDocument) -> str:
    rows = [
        [
            row.filter,
            f"{row.sky_mag_arcsec2:.1f}",
            _rate(row.sky_rate_e_s_px),
            _rate(row.target_rate_e_s_px),
            percent(row.sub_extra_noise),
        ]
        for row in document.filters
    ]
    heads = ["filter", "sky, AB mag/arcsec²", "sky e/s/px", "target e/s/px", "extra noise"]
    return f"{text_table(heads, rows, right=(1, 2, 3, 4))}\n{paragraph(READING_RATES)}"


def _rough(document: ExposureDocument, full: bool) -> list[str]:
    sources: dict[str, list[str]] = {}
    for row in document.filters:
        sources.setdefault(row.target_brightness_source, []).append(row.filter)
    if full:
        return [f"Brightness in {', '.join(names)}: {source}" for source, names in sources.items()]
    rough: dict[str, list[str]] = {}
    for source, names in sources.items():
        if CLASS_DEFAULT in source:
            within = short_source(source).removeprefix(CLASS_DEFAULT).split(", remembered")[0]
            rough.setdefault(within.strip(", "), []).extend(names)
    if not rough:
        return []
    listed = "; ".join(f"{', '.join(names)} ({within})" for within, names in rough.items())
    return [f"Brightness not measured, but typical of its kind: {listed}."]


def _trains(document: ExposureDocument) -> list[str]:
    rows = []
    for share in document.trains:
        chosen = share.train == document.train
        rows.append(
            [
                share.train + (" *" if chosen else ""),
                f"f/{share.f_ratio:.3g}",
                f"{share.image_scale_arcsec_px:.2f}",
                f"{_middle(share.rate_per_pixel):.2f}",
                f"{_middle(share.rate_per_arcsec2):.2f}",
                *(f"{share.snr_one_hour[row.filter]:.1f}" for row in document.filters),
            ]
        )
    names = [row.filter for row in document.filters]
    headers = ["train", "", "″/px", "per px", "per ″²", *names]
    right = tuple(range(2, len(headers)))
    return [
        text_table(headers, rows, right=right),
        paragraph(
            "Target's electrons in each train over the chosen one's (*), per pixel and per square "
            "arcsecond, then the S/N of one hour by filter: f-ratio helps a pixel, aperture the "
            "object."
        ),
    ]


def _middle(values: dict[str, float]) -> float:
    ordered = sorted(values.values())
    return ordered[len(ordered) // 2]


def _rate(value: float) -> str:
    return f"{value:.4f}" if value < 0.1 else f"{value:.3g}"
