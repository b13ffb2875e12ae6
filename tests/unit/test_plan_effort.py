"""Why nothing is found, told of the part that comes nearest."""

import pytest

from pithline.mill.products import Part
from pithline.plan.problem.infeasible import no_part_fits
from pithline.plan.problem.parts import sawn_parts
from unit.small_logs import log_of, products_of

LONG = Part("neck", 1, 700.0, 60.0, 20.0, False)
WIDE = Part("leaf", 2, 300.0, 200.0, 5.0, True)
FITTING = Part("back", 2, 400.0, 110.0, 5.0, True)


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ((LONG,), r"the longest clear length is \d+ mm, the shortest part \(neck neck\) needs 700 mm"),
        ((WIDE,), r"the widest radial run is \d+ mm, the narrowest part \(leaf leaf\) needs 200 mm"),
        (
            (LONG, WIDE),  # one short enough, another narrow enough, none both
            r"the widest radial run is \d+ mm, the narrowest part no longer than \d+ mm \(leaf leaf\) needs 200 mm",
        ),
        ((LONG, WIDE, FITTING), r"no plate of it keeps the limits"),
    ],
)
def test_the_part_that_comes_nearest_is_named(parts, words):
    found = no_part_fits(log_of(), sawn_parts(products_of(*parts), "black walnut"))
    with pytest.raises(type(found), match=words):
        raise found
