"""The wheel carries its configurations and schemas, and opens them far from the clone."""

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

PROGRAM = """
import json, pithline
from pithline.files.bundled import bundled
from pithline.files.mills import read_mill
from pithline.files.practice import read_practice
from pithline.files.products import read_products

print(json.dumps({
    "package": pithline.__file__,
    "mill": str(bundled("mills/portable.toml")),
    "kerf": read_mill().mill.kerf,
    "products": len(read_products().products),
    "slab": read_practice().centre_slab,
}))
"""


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "site")
    return folder / "site"


def test_bundled_configurations_open_outside_the_clone(unpacked, tmp_path):
    environment = {**os.environ, "PYTHONPATH": str(unpacked)}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], cwd=tmp_path, env=environment, check=True, capture_output=True, text=True
    )
    found = json.loads(done.stdout)
    assert Path(found["package"]).is_relative_to(unpacked) and Path(found["mill"]).is_relative_to(unpacked)
    assert (found["kerf"], found["slab"]) == (2.0, 100.0) and found["products"] >= 3


def test_every_configuration_of_the_clone_is_in_the_wheel(unpacked):
    for path in (ROOT / "configs").rglob("*.toml"):
        inside = unpacked / "pithline" / "configs" / path.relative_to(ROOT / "configs")
        assert inside.read_bytes() == path.read_bytes()


def test_every_module_schema_and_template_of_the_clone_is_in_the_wheel(unpacked):
    source = ROOT / "pipeline" / "pithline"
    for path in [one for kind in ("py", "json", "html", "svg", "css", "js") for one in source.rglob(f"*.{kind}")]:
        assert (unpacked / "pithline" / path.relative_to(source)).is_file(), path
