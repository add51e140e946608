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


def snr_per_arcsec2(
    snr2_per_second_px: Array, scale_arcsec_px: float, pixel_share: Array = 1.0
) -> Floats:
    """S/N per square arcsecond of one hour with the shutter open.

    A square arcsecond holds pixel_share/scale² pixels that see the light (`pixel_share` is below
    1 behind a colour mosaic), so a finer scale pays more read noise for it and an f-ratio alone
    changes nothing.
    """
    pixels = np.asarray(pixel_share, dtype=float) / scale_arcsec_px**2
    return np.asarray(np.sqrt(3600.0 * np.asarray(snr2_per_second_px, dtype=float) * pixels))


def hours_to_snr(wanted_snr: Array, snr_one_hour: Array) -> Floats:
    """Open-shutter hours that reach a wanted S/N: (wanted / one hour's)²; inf for no signal."""
    one_hour = np.asarray(snr_one_hour, dtype=float)
    with np.errstate(divide="ignore"):
        return np.asarray((np.asarray(wanted_snr, dtype=float) / one_hour) ** 2)


def worth(snr2_per_second_now: Array, snr2_per_second_reference: Array) -> Floats:
    """(S/N)² per second now over that at the site's zenith with the moon down; 0 for no signal.

    One hour now is worth this many hours of moonless zenith (ours; both with the same target,
    train, filter and sub, overheads left out).
    """
    reference = np.asarray(snr2_per_second_reference, dtype=float)
    now = np.asarray(snr2_per_second_now, dtype=float)
    usable = reference > 0.0
    return np.asarray(np.where(usable, now / np.where(usable, reference, 1.0), 0.0))
