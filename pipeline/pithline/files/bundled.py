"""The configurations that come with the package."""

from __future__ import annotations

from pathlib import Path

from pithline.errors import InputError


def bundled(name: str) -> Path:
    """Path of a bundled configuration, such as "mills/portable.toml".

    A wheel carries `configs/` inside the package; an editable install reads the clone's own folder, two above it.

    Raises
    ------
    InputError
        If neither is there: the installation is broken.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "configs", package.parent.parent / "configs"):
        if (folder / name).is_file():
            return folder / name
    raise InputError(f"the bundled configuration {name} is missing from this installation; install pithline again.")
