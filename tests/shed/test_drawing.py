"""Pictures of the pages, as SVG."""

import re

from pithline.shed.drawing import climb_curve, end_grain


def line_of(svg, name):
    return next(found for found in re.findall(rf'<path class="{name}" d="([^"]*)"', svg))


def test_what_no_plan_can_exceed_is_drawn_only_where_it_is_more_than_what_is_in_hand():
    first = climb_curve([[10.0, 54.0, None], [14.0, 54.0, 37.0]], 15.0, "L")
    assert line_of(first, "bound") == "" and "exceed" not in first
    later = climb_curve([[10.0, 54.0, None], [14.0, 54.0, 37.0], [17.0, 81.0, 83.0]], 20.0, "L")
    assert line_of(later, "best").count("V") == 2
    bound = re.findall(r"[MHV]([-\d.]+)(?: ([-\d.]+))?", line_of(later, "bound"))
    assert len(bound) == 2, "it begins where it holds"
    assert float(bound[0][1]) < float(line_of(later, "best").rpartition("V")[2].partition("H")[0])
    assert "best so far 81.0 L, none can exceed 83.0 L" in later


def test_an_end_whose_pith_lies_off_the_centre_fills_its_picture():
    bark = [[-100.0, -50.0], [200.0, -50.0], [200.0, 250.0], [-100.0, 250.0]]
    left, high, wide, tall = map(float, re.search(r'viewBox="([^"]*)"', end_grain(bark, bark, room=10.0))[1].split())
    assert (left, high, wide, tall) == (-110.0, -260.0, 320.0, 320.0)
