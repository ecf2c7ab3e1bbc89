"""How near a person may be to a transmitting antenna."""

import math

PUBLIC_LIMIT_W_PER_M2 = 10.0
"""General public at 5.8 GHz. Source: 47 CFR 1.1310 table 1 (1.0 mW/cm2); ICNIRP 2020 whole body."""

ADVISED_DISTANCE_M = 0.20


def power_density_w_per_m2(eirp_mw: float, distance_m: float) -> float:
    """Power density in W/m2 at a distance in m from a radiated power in mW, e.i.r.p. / (4 pi R^2).

    Far field, no reflection. Source: FCC OET Bulletin 65, edition 97-01, page 18.
    """
    return eirp_mw / 1000.0 / (4.0 * math.pi * distance_m**2)


def limit_distance_m(eirp_mw: float) -> float:
    """Distance in m at which the power density of an e.i.r.p. in mW falls to the limit for the public."""
    return math.sqrt(eirp_mw / 1000.0 / (4.0 * math.pi * PUBLIC_LIMIT_W_PER_M2))
