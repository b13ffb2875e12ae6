"""A season keeps the layouts of its plans as plain data, and reads them back as they were."""

import json
from dataclasses import asdict, replace

from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.yard.season.log_plans import layout_from


def test_a_layout_kept_as_plain_data_is_read_back_the_same():
    """Settings above and below differ in everything that a layout may say."""
    bolt = LayoutSetting(2.0, (LayoutSlab(3.0, 30.0),), role="bolt", prices=(1.5, 0.25), lean=-0.004)
    above = LayoutSetting(1.0, (LayoutSlab(40.0, 25.0), LayoutSlab(10.0, 20.0)), above=bolt, role="half", lean=0.002)
    below = replace(above, clock=1.5, above=None, below=replace(bolt, clock=2.5, prices=None, lean=None))
    layout = LayoutSetting(0.5, (LayoutSlab(-20.0, 40.0),), above, below)
    assert layout_from(json.loads(json.dumps(asdict(layout)))) == layout
    assert layout_from(None) is None
