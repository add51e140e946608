"""Signal to noise of stacked subs: the CCD equation, hours wanted, and worth of a moment.

The CCD equation in the form of Howell 2006 (Handbook of CCD Astronomy, 2nd ed., eq. 4.4, without
the small term of a measured background): S/N = N* / √(N* + n (Ns + Nd + R²)), counts in electrons,
n pixels. All rates are electrons/s per pixel, noise in electrons; shapes broadcast.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from nightplan.light.photometry import Floats

Array = npt.ArrayLike


def snr2_per_second_px(
    target_e_s: Array, sky_e_s: Array, dark_e_s: Array, read_noise_e: Array, sub_s: Array
) -> Floats:
    """(S/N)² of one pixel gathered per second of open shutter, subs of `sub_s`.

    S² / (S + sky + dark + R²/t): independent of the number of subs, so a stack grows as √time.
    Zero where the target gives nothing.
    """
    signal = np.asarray(target_e_s, dtype=float)
    noise2 = (
        signal
        + np.asarray(sky_e_s, dtype=float)
        + np.asarray(dark_e_s, dtype=float)
        + np.asarray(read_noise_e, dtype=float) ** 2 / np.asarray(sub_s, dtype=float)
    )
    return np.asarray(signal * signal / np.maximum(noise2, 1e-300))


def snr_extended(
    target_e_s: Array,
    sky_e_s: Array,
    dark_e_s: Array,
    read_noise_e: Array,
    sub_s: Array,
    scale_arcsec_px: float,
    open_s: Array = 3600.0,
) -> Floats:
    """S/N per square arcsecond of an extended target, shutter open for `open_s` in all.

    A square arcsecond holds 1/scale² pixels, so a finer scale pays more read noise for it and an
    f-ratio alone changes nothing.
    """
    per_second = snr2_per_second_px(target_e_s, sky_e_s, dark_e_s, read_noise_e, sub_s)
    return np.sqrt(per_second * np.asarray(open_s, dtype=float)) / scale_arcsec_px


def snr_star(
    star_e_s: Array,
    sky_e_s: Array,
    dark_e_s: Array,
    read_noise_e: Array,
    sub_s: Array,
    pixels: Array,
    open_s: Array = 3600.0,
) -> Floats:
    """S/N of a star's `star_e_s` electrons/s in all, measured over `pixels` pixels."""
    seconds = np.asarray(open_s, dtype=float)
    subs = seconds / np.asarray(sub_s, dtype=float)
    signal = np.asarray(star_e_s, dtype=float) * seconds
    background = (np.asarray(sky_e_s, dtype=float) + np.asarray(dark_e_s, dtype=float)) * seconds
    read2 = subs * np.asarray(read_noise_e, dtype=float) ** 2
    noise2 = signal + np.asarray(pixels, dtype=float) * (background + read2)
    return np.asarray(signal / np.sqrt(np.maximum(noise2, 1e-300)))


def hours_to_snr(wanted_snr: Array, snr_one_hour: Array) -> Floats:
    """Open-shutter hours that reach a wanted S/N: (wanted / one hour's)²; inf for no signal."""
    one_hour = np.asarray(snr_one_hour, dtype=float)
    with np.errstate(divide="ignore"):
        return np.asarray((np.asarray(wanted_snr, dtype=float) / one_hour) ** 2)


def clock_hours(open_hours: Array, sub_s: Array, overhead_s: Array) -> Floats:
    """Hours on the clock for open-shutter hours, each sub costing `overhead_s` besides."""
    share = 1.0 + np.asarray(overhead_s, dtype=float) / np.asarray(sub_s, dtype=float)
    return np.asarray(np.asarray(open_hours, dtype=float) * share)


def worth(snr2_per_second_now: Array, snr2_per_second_reference: Array) -> Floats:
    """(S/N)² per second now over that at the site's zenith with the moon down; 0 for no signal.

    One hour now is worth this many hours of moonless zenith (ours; both with the same target,
    train, filter and sub, overheads left out).
    """
    reference = np.asarray(snr2_per_second_reference, dtype=float)
    now = np.asarray(snr2_per_second_now, dtype=float)
    usable = reference > 0.0
    return np.asarray(np.where(usable, now / np.where(usable, reference, 1.0), 0.0))
