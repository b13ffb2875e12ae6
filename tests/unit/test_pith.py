"""The pith in photographs of generated end grain, against where it truly is; and pictures that hold no rings."""

import json

import numpy as np
import pytest
from PIL import Image
from skimage import data

from pithline.cli.main import main
from pithline.errors import FitError
from pithline.pith.find import LEAST, find_pith
from truth.end_grain import EndGrain, photograph

SMALL = {"pixels": (780, 900), "breadth": 460.0}

CASES = {
    "eccentric": EndGrain(pith=(-80.0, 50.0), **SMALL),
    "saw strokes": EndGrain(strokes=0.9, strokes_deg=110.0, **SMALL),
    "cracks": EndGrain(cracks=12, behind="boards", **SMALL),
    "uneven light": EndGrain(light=1.0, behind="concrete", **SMALL),
    "seen at 15 degrees": EndGrain(tilt_deg=15.0, tilt_way_deg=200.0, **SMALL),
}


@pytest.mark.parametrize("name", CASES)
def test_pith_rings_and_tape_measures(name):
    end = CASES[name]
    photo = photograph(end, 3)
    found = find_pith(photo.picture, photo.across)
    # in the picture itself: 1.5 % of the breadth
    assert np.hypot(*(found.place - photo.place)) < 0.015 * end.fills * end.pixels[0]
    # by tape the slant of the camera comes on top, which one picture cannot tell: within three of the stated errors
    assert abs(found.from_left - photo.from_left) < 3.0 * found.error
    assert abs(found.from_top - photo.from_top) < 3.0 * found.error
    assert found.error < 0.02 * end.breadth
    assert found.confidence > LEAST
    assert found.spacing == pytest.approx(photo.spacing, rel=0.2)
    assert found.down == pytest.approx(photo.down, rel=0.05)


def test_turning_the_picture_turns_the_pith():
    photo = photograph(EndGrain(**SMALL), 7)
    found = find_pith(photo.picture, photo.across)
    turned = find_pith(np.rot90(photo.picture, 2), photo.across)
    assert turned.from_left == pytest.approx(found.across - found.from_left, abs=4.0)
    assert turned.from_top == pytest.approx(found.down - found.from_top, abs=4.0)


@pytest.mark.parametrize(
    "end",
    [
        EndGrain(wax=0.95, **SMALL),
        EndGrain(rings=0.0, strokes=0.0, cracks=0, **SMALL),
        EndGrain(rings=0.0, strokes=1.5, cracks=0, **SMALL),
        EndGrain(rings=0.25, strokes=2.5, noise=0.12, **SMALL),
    ],
    ids=["waxed", "painted", "strokes alone", "furry"],
)
def test_faces_without_rings_are_refused(end):
    photo = photograph(end, 3)
    with pytest.raises(FitError, match=r"mark the pith by eye|--box"):
        find_pith(photo.picture, photo.across)


@pytest.mark.parametrize("name", ["grass", "gravel", "brick", "camera", "coins"])
def test_photographs_of_other_things_are_refused(name):
    """Photographs that scikit-image ships (its own data set, freely licensed); none of them is an end face."""
    picture = np.repeat(getattr(data, name)()[..., None] / 255.0, 3, axis=2)
    with pytest.raises(FitError):
        find_pith(picture, 500.0)
    height, width = picture.shape[:2]
    with pytest.raises(FitError, match="no rings"):
        find_pith(picture, 500.0, box=(0.1 * width, 0.1 * height, 0.9 * width, 0.9 * height))


def test_a_face_cut_off_by_the_picture():
    photo = photograph(EndGrain(fills=1.15, **SMALL), 3)
    with pytest.raises(FitError, match=r"runs out of the picture|outline"):
        find_pith(photo.picture, photo.across)


@pytest.fixture(scope="module")
def photo_file(tmp_path_factory):
    photo = photograph(EndGrain(**SMALL), 3)
    path = tmp_path_factory.mktemp("photo") / "butt.png"
    Image.fromarray(np.rint(255 * photo.picture).astype(np.uint8)).save(path)
    return path, photo


def test_the_command_says_what_to_put_on_the_card(photo_file, tmp_path, capsys):
    path, photo = photo_file
    across = f"{photo.across / 25.4:.3f} in"
    assert main(["pith", str(path), "--across", across, "--out", str(tmp_path), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert abs(found["from_left"] - photo.from_left) < 3 * found["error"]
    assert np.hypot(*(np.array(found["pixel"]) - photo.place)) < 12.0
    with Image.open(tmp_path / "butt.pith.png") as picture:
        assert min(picture.size) > 600


def test_the_commands_words(photo_file, tmp_path, capsys, monkeypatch):
    path, photo = photo_file
    found = find_pith(photo.picture, 460.0, (100.0, 80.0, 800.0, 700.0))
    monkeypatch.setattr("pithline.pith.find.find_pith", lambda *rest: found)
    assert main(["pith", str(path), "--across", "46 cm", "--out", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert f'from_left = "{found.from_left:.0f} mm", from_top = "{found.from_top:.0f} mm"' in said
    assert f'error = "{found.error:.0f} mm"' in said and f"confidence {found.confidence:.2f}" in said


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--across", "22"], "--across"),
        (["--across", "2 mm"], "which is no log"),
        (["--across", "22 in", "--box", "1,2,3"], "four numbers in pixels"),
        (["--across", "22 in", "--box", "1,2,3,4"], "must hold the whole face"),
    ],
)
def test_misuse_is_one_line(photo_file, capsys, arguments, message):
    assert main(["pith", str(photo_file[0]), *arguments]) == 2
    told = capsys.readouterr().err
    assert told.startswith("error: ") and told.count("\n") == 1 and message in told


def test_no_photograph(tmp_path, capsys):
    (tmp_path / "a.jpg").write_bytes(b"no picture")
    assert main(["pith", str(tmp_path / "a.jpg"), "--across", "22 in"]) == 2
    assert "cannot be read as a photograph" in capsys.readouterr().err
    assert not list(tmp_path.glob("*.pith.png"))


@pytest.mark.parametrize("grey", [0.0, 0.5, 1.0])
def test_a_blank_photograph_is_refused_without_a_warning(grey):
    with pytest.raises(FitError, match="one colour all over"):
        find_pith(np.full((600, 700, 3), grey), 500.0)


def test_a_photograph_blank_but_for_its_edge_is_refused_without_a_warning():
    picture = np.ones((600, 700, 3))
    picture[:40] = 0.2
    with pytest.raises(FitError):
        find_pith(picture, 500.0)
