"""Airglow lines of the natural night sky: wavelengths in air and typical brightness.

Brightness at the zenith in rayleighs, all from memory and typical only: 557.7, 589 and 630 nm
after Roach & Gordon 1973 ("The Light of the Night Sky") and Patat 2003 (A&A 400, 1183); OH band
sums after Broadfoot & Kendall 1968 (JGR 73, 426); OH wavelengths after Osterbrock et al. 1996
(PASP 108, 277). Airglow changes by a factor of two from night to night and with the solar cycle.
"""

from __future__ import annotations

import numpy as np

from nightplan.light.photometry import Floats

_SINGLE = (
    (519.9, 4.0),  # N I
    (557.73, 200.0),  # O I
    (589.00, 35.0),  # Na D2
    (589.59, 20.0),  # Na D1
    (630.03, 100.0),  # O I
    (636.38, 33.0),  # O I, a third of 630.0 by the ratio of transition probabilities
    (656.28, 4.0),  # geocoronal H-alpha
    (864.5, 200.0),  # O2 (0-1), band head
)

# Q1(1) line of each OH band in nm, and the sum over the band in rayleighs.
_OH_BANDS = (
    (588.8, 40.0),  # 8-2
    (616.9, 12.0),  # 5-0
    (625.80, 70.0),  # 9-3
    (649.87, 45.0),  # 6-1
    (686.40, 180.0),  # 7-2
    (727.64, 300.0),  # 8-3
    (775.06, 380.0),  # 9-4
    (791.37, 400.0),  # 5-1
    (834.46, 700.0),  # 6-2
    (882.70, 1000.0),  # 7-3
    (937.5, 1300.0),  # 8-4
)

# Rotational lines of one band: cm⁻¹ from Q1(1) and share of the band. Offsets measured on the
# 6-1 band (652.24, 653.30, 654.40, 655.36, 656.88, 657.72, 659.66, 660.41 nm); other bands
# differ by a few per cent.
_OH_ROTATION = (
    (120.0, 0.05),
    (95.0, 0.08),
    (65.0, 0.08),
    (0.0, 0.19),
    (-15.0, 0.08),
    (-55.9, 0.05),
    (-80.8, 0.14),
    (-106.5, 0.05),
    (-128.9, 0.13),
    (-164.2, 0.03),
    (-183.7, 0.08),
    (-228.4, 0.01),
    (-245.6, 0.03),
)


def night_sky_lines() -> tuple[Floats, Floats]:
    """Wavelength in nm (air) and zenith brightness in rayleighs of each line, both shape (M,)."""
    lines = list(_SINGLE)
    for head_nm, band_rayleigh in _OH_BANDS:
        for offset_cm, share in _OH_ROTATION:
            lines.append((1.0 / (1.0 / head_nm + offset_cm * 1e-7), band_rayleigh * share))
    table = np.array(sorted(lines))
    return table[:, 0], table[:, 1]
