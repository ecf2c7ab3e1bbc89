"""How wide an FM video signal is."""

PEAK_DEVIATION_MHZ = 4.0
"""Half of the 8 MHz peak to peak that small video transmitters are built for (ITU-R F.276, secondary)."""

TOP_VIDEO_MHZ = 5.0
"""Highest video frequency of a 625-line picture, without sound."""


def carson_bandwidth_mhz(peak_deviation_mhz: float, top_baseband_mhz: float) -> float:
    """Necessary width in MHz of a frequency-modulated carrier, 2 (D + f).

    peak_deviation_mhz   D, half of the peak-to-peak deviation (taking one for the other is a 6 dB error)
    top_baseband_mhz     f, highest frequency of the modulating signal

    Source: Carson's rule, Bn = 2M + 2DK with K = 1: ITU-R Radio Regulations 1.152; 47 CFR 2.202.
    """
    return 2.0 * (peak_deviation_mhz + top_baseband_mhz)
