"""The configurations that come with the package."""

from __future__ import annotations

from pathlib import Path

from pithline.errors import InputError
from pithline.keys.readers import nearest


def bundled(name: str) -> Path:
    """Path of a bundled configuration, such as "mills/portable.toml".

    A wheel carries `configs/` inside the package; an editable install reads the clone's own folder, two above it.

    Raises
    ------
    InputError
        If neither is there: the installation is broken.
    """
    for folder in _folders():
        if (folder / name).is_file():
            return folder / name
    raise InputError(f"the bundled configuration {name} is missing from this installation; install pithline again.")


def bundled_names(kind: str) -> list[str]:
    """Names of the bundled configurations of a kind, "mills" or "products", as they may be named on the command line."""
    for folder in _folders():
        if (folder / kind).is_dir():
            return sorted(path.stem for path in (folder / kind).glob("*.toml"))
    return []


def named(name: str | Path, kind: str) -> Path:
    """The file of that path, or the bundled configuration of that name where the name is no path.

    Raises
    ------
    InputError
        If it is neither, and no path by its looks; names the nearest bundled one.
    """
    path, known = Path(name), bundled_names(kind)
    if path.exists() or path.suffix:
        return path
    if str(name) not in known:
        raise InputError(
            f"{name}: there is no such file, and none of that name is bundled; {nearest(name, known, kind)}"
        )
    return bundled(f"{kind}/{name}.toml")


def _folders() -> tuple[Path, ...]:
    package = Path(__file__).resolve().parent.parent
    return package / "configs", package.parent.parent / "configs"
