"""A begun card can be read as it stands and once its lines are used; the ends picture is true to the log."""

import io

import matplotlib.image
import numpy as np
import pytest

from pithline.files.cards import read_card
from pithline.logmodel.card import TapeMark
from pithline.outputs.card_text import CardFacts, card_text
from pithline.outputs.ends_picture import end_view, ends_png
from truth.by_hand import cylinder
from truth.models import to_model


@pytest.fixture(scope="module")
def model():
    return to_model(cylinder(radius=290.0, length=1200.0))  # 10 mm of bark over it


def begun(model):
    views = [end_view(model, np.empty((0, 3)), None, name) for name in ("butt", "top")]
    marks = {view.name: (float(view.pith[0]), float(view.pith[1])) for view in views}
    return card_text(CardFacts('w "7"', "w.ply", "m", "+z", "w.ends.png", marks), model)


def test_a_begun_card_is_read_as_it_stands(tmp_path, model):
    path = tmp_path / "w.toml"
    path.write_text(begun(model), encoding="utf-8")
    card = read_card(path)
    assert card.id == 'w "7"' and card.scan == "w.ply" and card.trim_butt == 25.0 and card.pith_butt is None


def test_every_line_of_a_begun_card_can_be_used(tmp_path, model):
    """Each commented key, taken alone, reads: none is misspelt or lacks its unit."""
    lines = begun(model).splitlines()
    used = 0
    for at, line in enumerate(lines):
        if not line.startswith("# ") or " = " not in line or line.startswith(("# or ", "# Copy")):
            continue
        if any(other.startswith("# [[defect]]") for other in lines[max(0, at - 6) : at]):
            continue
        path = tmp_path / f"line{at}.toml"
        text = "\n".join([*lines[:at], line[2:], *lines[at + 1 :]])
        if line.startswith("# twelve_"):
            text = text.replace("# twelve_", "twelve_")
        path.write_text(text, encoding="utf-8")
        read_card(path)
        used += 1
    assert used >= 14


def test_every_defect_of_a_begun_card_can_be_used(tmp_path, model):
    head, _, rest = begun(model).partition("# [[defect]]")
    blocks = ("# [[defect]]" + rest).split("\n\n")
    text = head + "\n\n".join(block.replace("# ", "", 1).replace("\n# ", "\n") for block in blocks)
    path = tmp_path / "w.toml"
    path.write_text(text, encoding="utf-8")
    assert [one.kind for one in read_card(path).defects] == ["metal", "check", "rot"]


def test_the_pith_of_a_cylinder_reads_as_its_radius(model):
    view = end_view(model, np.empty((0, 3)), None, "butt")
    assert TapeMark(*view.pith.round(1)) == TapeMark(300.0, 300.0)


@pytest.mark.parametrize(("name", "x", "right"), [("butt", 0.0, -1.0), ("top", 1200.0, 1.0)])
def test_each_end_is_seen_facing_it(model, name, x, right):
    """Facing the butt +y is on the left, facing the top end on the right; up is up."""
    points = np.array([[x, 0.0, 200.0], [x, right * 200.0, 0.0], [600.0, 0.0, 0.0]])
    view = end_view(model, points, None, name)
    np.testing.assert_allclose(view.points, [[300.0, 100.0], [500.0, 300.0]], atol=0.2)


def test_picture(model):
    clock = np.linspace(0.0, 2.0 * np.pi, 400)
    ring = np.column_stack([np.zeros(400), -250.0 * np.sin(clock), 250.0 * np.cos(clock)])
    first = ends_png(model, ring, None, "w")
    assert first == ends_png(model, ring, None, "w")
    assert matplotlib.image.imread(io.BytesIO(first), format="png").shape[:2] == (1230, 2250)
