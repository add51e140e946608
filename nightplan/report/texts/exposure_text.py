"""What each filter collects, as text for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.report.texts.target_line import target_line
from nightplan.report.wording.local_time import NightClock
from nightplan.report.wording.text_table import paragraph, text_table

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


def exposure_text(document: ExposureDocument, site: Site) -> str:
    """Lay out sky, filters and trains in 80 columns."""
    clock = NightClock(site.zone, [document.time_utc])
    sky = document.sky
    lines = [
        paragraph(
            f"{document.target} with the {document.train} from {document.site}, "
            f"night of {document.date}, at {clock.clock(document.time_utc)} {clock.heading}"
        ),
        paragraph(f"Taken to be: {target_line(document.target_facts)}."),
        "",
        paragraph(
            f"Target at {sky.target_altitude_deg:.0f}°, V sky there "
            f"{sky.total_v_mag_arcsec2:.2f} mag/arcsec² ({sky.dark_v_mag_arcsec2:.2f} without "
            f"moon and twilight), extinction {sky.extinction_v_mag_airmass:.2f} mag an airmass. "
            + _moon(document)
        ),
        "",
    ]
    rows = [
        [
            row.filter,
            f"{row.sky_mag_arcsec2:.2f}",
            _rate(row.sky_rate_e_s_px),
            _rate(row.target_rate_e_s_px),
            row.gain,
            f"{row.sub_s:g}",
            BOUND_WORDS[row.sub_bound],
            f"{100.0 * row.sub_extra_noise:.0f} %",
            f"{row.snr_one_hour:.1f}",
            f"{row.worth:.2f}",
        ]
        for row in document.filters
    ]
    headers = [
        "filter", "sky AB", "sky e/s", "target", "gain", "sub s", "set by", "extra", "S/N 1h",
        "worth",
    ]  # fmt: skip
    lines += [text_table(headers, rows, right=(1, 2, 3, 5, 7, 8, 9)), ""]
    lines += _explain(document)
    if len(document.trains) > 1:
        lines += ["", *_trains(document)]
    lines += [""] + [paragraph(f"Note: {notice}") for notice in document.notices]
    return "\n".join(lines).rstrip()


def _moon(document: ExposureDocument) -> str:
    sky = document.sky
    if sky.moonlight_used_v_nl < 0.5:
        return "No moonlight."
    height = (
        f"{sky.moon_altitude_deg:.0f}° high"
        if sky.moon_altitude_deg >= 0.0
        else f"{-sky.moon_altitude_deg:.0f}° below the horizon"
    )
    return (
        f"The moon, {sky.moon_separation_deg:.0f}° away and {height}, "
        f"adds {sky.moonlight_used_v_nl:.0f} nL."
    )


def _explain(document: ExposureDocument) -> list[str]:
    sources: dict[str, list[str]] = {}
    for row in document.filters:
        sources.setdefault(row.target_brightness_source, []).append(row.filter)
    lines = [
        paragraph(
            "Rates are electrons/s per pixel, the target's at its mean brightness; set by: what "
            "decided the sub; extra: what read noise adds to the noise of a sub; S/N per square "
            "arcsecond for one hour of open shutter; worth: hours of moonless zenith that an hour "
            "now is worth."
        )
    ]
    lines += [
        paragraph(f"Brightness in {', '.join(names)}: {source}")
        for source, names in sources.items()
    ]
    return lines


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
