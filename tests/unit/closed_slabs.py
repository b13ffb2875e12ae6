"""What a slab of the straight round log is worth, by closed form and HiGHS (`scipy.optimize.milp`, a peer)."""

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from unit.small_logs import BACK, RULE, STRAIGHT, products_of, shop_of

SHOP = shop_of(products_of(BACK, RULE))
LITRES = np.array([part.volume / 1e6 for part in SHOP.parts])
PITH_RADIUS = 20.0
DOUBTS = {-1: (0.8, 5.5, (-1.3, 0.0, 1.3), all), 0: (0.4, 1.5, (0.0,), all), 1: (-0.1, -1.4, (-1.3, 0.0, 1.3), any)}
"""By kind: degrees kept back from ring angles, mm from surface and pith, shifts of a mid-plane, how many must pass.

−1 leaves nothing doubtful, 0 keeps what the search says it keeps back, +1 takes every doubt in the plate's favour.
"""


def passes(part, middle, place, width, angle, surface):
    """Whether a plate passes by closed form: mid-plane at `middle`, from `place` across, limits raised by `angle` [rad].

    Rings are circles, so the ring angle at lateral y on a plane at h is arctan(|y| / |h|).
    """
    y = np.arange(place, place + width + 1e-6, 5.0)
    ring = np.arctan2(np.abs(y), abs(middle))
    half = part.thickness / 2
    far = np.hypot(max(abs(y[0]), abs(y[-1])), abs(middle) + half)
    near_y = 0.0 if y[0] <= 0 <= y[-1] else min(abs(y[0]), abs(y[-1]))
    near = np.hypot(near_y, max(abs(middle) - half, 0.0))
    limits = part.limits
    return (
        ring.min() >= limits.ring_angle_min + angle
        and ring.mean() >= limits.ring_angle_mean + angle
        and far <= STRAIGHT.radius - surface
        and near >= PITH_RADIUS + surface
    )


def worth_by_milp(low, thickness, kind, depth_step=2.5, least=-np.inf, grow=0.0, gap_doubt=0.0):
    """The best strips and billets of one slab with lateral at least `least`, under one kind of `DOUBTS`.

    Mid-planes are rounded to `depth_step` where the kind is 0; plates are looked at `grow` further out on both sides,
    and neighbouring strips stand `gap_doubt` further apart, for places that are not on this grid.
    """
    angle, surface, shifts, enough = DOUBTS[kind]
    kerf = SHOP.machines.resaw.kerf
    gap = gap_doubt + (SHOP.machines.rip.kerf if kind > 0 else 5.0)
    clear, cross = (550.0, SHOP.machines.crosscut.kerf) if kind > 0 else (500.0, 50.0)
    widths = sorted({part.width for part in SHOP.parts})
    strips, worth = [], []
    for wide in widths:
        for place in np.arange(-160.0, 160.0, 5.0):
            if place - grow < least:
                continue
            counts = []
            for part in SHOP.parts:
                if part.width > wide or part.width < 0.6 * wide:
                    counts.append(0)
                    continue
                layers = int((thickness + kerf + 0.01) / (part.thickness + kerf))
                n = 0
                for j in range(layers):
                    middle = low + part.thickness / 2 + j * (part.thickness + kerf)
                    middle = round(middle / depth_step) * depth_step if kind == 0 else middle
                    span = part.width if kind > 0 else np.ceil(part.width / 5.0) * 5.0
                    n += enough(
                        passes(part, middle + s, place - grow, span + 2 * grow, np.radians(angle), surface)
                        for s in shifts
                    )
                counts.append(n)
            if any(counts):
                strips.append((place, wide))
                worth.append(counts)
    if not strips:
        return 0.0
    m, p = len(strips), len(SHOP.parts)
    gain = np.concatenate([np.zeros(m), (np.array(worth) * LITRES).ravel()])
    rows, high = [], []
    for i in range(m):  # billets of a strip fill its length, if it is ripped at all
        row = np.zeros(m + m * p)
        row[m + i * p : m + (i + 1) * p] = [part.length + cross for part in SHOP.parts]
        row[i] = -(clear + cross)
        rows.append(row)
        high.append(0.0)
    for at in np.arange(-160.0, 160.0, 5.0):  # strips with their kerf beside each other
        row = np.zeros(m + m * p)
        row[:m] = [place <= at < place + wide + gap - 1e-6 for place, wide in strips]
        rows.append(row)
        high.append(1.0)
    found = milp(
        -gain,
        constraints=LinearConstraint(np.array(rows), ub=high),
        bounds=Bounds(0, np.concatenate([np.ones(m), np.full(m * p, 3.0)])),
        integrality=np.ones(m + m * p),
    )
    assert found.success
    return -found.fun
