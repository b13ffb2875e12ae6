"""Slab tables: symmetries of a straight round log, and worth against HiGHS (`scipy.optimize.milp`, a peer) on closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from pithline.plan.slabs import make_grid, part_table
from pithline.plan.solve import COARSE, aim_of, build_tables, thickness_max
from unit.small_logs import BACK, RULE, STRAIGHT, log_of, products_of, quiet, shop_of

SMALL = replace(COARSE, rolls=6, along_step=50.0)
SHOP = shop_of(products_of(BACK, RULE))
PITH_RADIUS = 20.0


def tables_of(log, shop=SHOP, effort=SMALL):
    return build_tables(
        log, shop.parts, aim_of("volume", shop.parts, shop.machines, log.reach), shop.machines, effort, quiet
    )


@pytest.fixture(scope="module")
def tables():
    return tables_of(log_of(pith_radius=PITH_RADIUS))


def test_a_grid_lies_even_about_the_pith_and_reaches_past_every_plate():
    log = log_of()
    grid = make_grid(log, SHOP.parts, thickness_max(SHOP.machines), 6, 2.5, 50.0, 1.2)
    np.testing.assert_allclose(grid.depths, -grid.depths[::-1])
    np.testing.assert_allclose(grid.across, -grid.across[::-1])
    assert grid.across[-1] >= STRAIGHT.radius
    # the farthest mid-plane on which a plate as narrow as any still keeps 70° at its inner edge
    h = np.linspace(0, STRAIGHT.radius, 3000)
    fits = np.sqrt(STRAIGHT.radius**2 - h**2) - h * np.tan(np.radians(70)) > RULE.width
    assert grid.depths[-1] > h[fits].max()
    assert max(grid.thicknesses) <= thickness_max(SHOP.machines)
    assert grid.roll(0) == 0.0 and grid.roll(6) == pytest.approx(np.pi)


def test_parts_are_rounded_up_to_the_grid():
    grid = make_grid(log_of(), SHOP.parts, 100.0, 6, 2.5, 50.0, 1.2)
    table = part_table(SHOP.parts, grid, SHOP.worth)
    for i, part in enumerate(SHOP.parts):
        assert 0 <= table.cells_along[i] * grid.along_step - part.length < grid.along_step
        assert 0 <= table.cells_across[i] * grid.across_step - part.width < grid.across_step
    np.testing.assert_allclose(table.worth, [0.22, 0.096])


def test_every_roll_of_a_round_log_is_worth_the_same(tables):
    assert tables.values.max() > 0.5
    for roll in tables.values[1:]:
        np.testing.assert_allclose(roll, tables.values[0], atol=1e-5)


def test_left_and_right_of_a_round_log_are_worth_the_same(tables):
    places = len(tables.grid.across)
    np.testing.assert_allclose(
        tables.values[:, 0, :, :, :places], tables.values[:, 1, :, :, places - 1 :: -1], atol=1e-5
    )


def test_more_room_is_never_worth_less(tables):
    assert (np.diff(tables.values[:, 0], axis=-1) <= 1e-6).all()
    assert (np.diff(tables.values[:, 1], axis=-1) >= -1e-6).all()


def test_an_eccentric_pith_makes_rolls_differ():
    truth = replace(STRAIGHT, pith_butt=(30.0, 10.0), pith_top=(30.0, 10.0))
    values = tables_of(log_of(truth)).values[:, 0, :, :, 0]
    assert values.max(axis=(1, 2)).std() > 0.02


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


def worth_by_milp(low, thickness, grid, kind):
    """The best strips and billets of one slab, under one kind of `DOUBTS`."""
    angle, surface, shifts, enough = DOUBTS[kind]
    kerf = SHOP.machines.resaw.kerf
    gap = SHOP.machines.rip.kerf if kind > 0 else 5.0
    clear, cross = (550.0, SHOP.machines.crosscut.kerf) if kind > 0 else (500.0, 50.0)
    widths = sorted({part.width for part in SHOP.parts})
    strips, worth = [], []
    for wide in widths:
        for place in np.arange(grid.across[0], grid.across[-1], 5.0):
            counts = []
            for part in SHOP.parts:
                if part.width > wide or part.width < 0.6 * wide:
                    counts.append(0)
                    continue
                layers = int((thickness + kerf + 0.01) / (part.thickness + kerf))
                n = 0
                for j in range(layers):
                    middle = low + part.thickness / 2 + j * (part.thickness + kerf)
                    middle = round(middle / grid.depth_step) * grid.depth_step if kind == 0 else middle
                    span = part.width if kind > 0 else np.ceil(part.width / 5.0) * 5.0
                    n += enough(passes(part, middle + s, place, span, np.radians(angle), surface) for s in shifts)
                counts.append(n)
            if any(counts):
                strips.append((place, wide))
                worth.append(counts)
    if not strips:
        return 0.0
    m, p = len(strips), len(SHOP.parts)
    gain = np.concatenate([np.zeros(m), (np.array(worth) * SHOP.worth).ravel()])
    rows, high = [], []
    for i in range(m):  # billets of a strip fill its length, if it is ripped at all
        row = np.zeros(m + m * p)
        row[m + i * p : m + (i + 1) * p] = [part.length + cross for part in SHOP.parts]
        row[i] = -(clear + cross)
        rows.append(row)
        high.append(0.0)
    for at in np.arange(grid.across[0], grid.across[-1], 5.0):  # strips with their kerf beside each other
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


def test_slabs_are_worth_what_highs_finds(tables):
    """Between the best with every doubt against it and for it, and mostly the same as with the grid's own."""
    grid = tables.grid
    same = total = 0
    for at in range(0, len(grid.depths), 4):
        for t in (0, 3):
            low, thickness = float(grid.depths[at]), grid.thicknesses[t]
            if low + thickness > grid.depths[-1]:
                continue
            found = float(tables.values[0, 0, at, t, 0])
            least, own, most = (worth_by_milp(low, thickness, grid, kind) for kind in (-1, 0, 1))
            assert least - 1e-5 <= found <= most + 1e-5, (low, thickness)
            total += most > 0
            same += most > 0 and abs(own - found) < 1e-5
    assert total >= 10 and same >= 0.8 * total
