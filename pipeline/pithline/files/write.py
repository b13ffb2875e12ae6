"""Writing a folder of files whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from pithline.errors import InputError


def check_folder(out: str | Path) -> None:
    """Refuse at once, before long work, an --out that cannot become a folder: it or one above it is a file.

    Raises
    ------
    InputError
    """
    try:
        first = next(one for one in (Path(out), *Path(out).absolute().parents) if one.exists())
    except OSError as error:
        raise InputError(f"{out} cannot be a folder ({error.strerror}); choose another --out folder.") from None
    if not first.is_dir():
        raise InputError(f"{first} is a file, so nothing can be written into {out}; choose another --out folder.")


def write_folder(out: str | Path, files: Mapping[str, bytes]) -> None:
    """Write every file into `out`, replacing those of the same name, or none.

    All are first written in full under temporary names in the same folders and only then renamed; if a rename fails,
    those already made are undone. Folders made here are removed again on an error.

    Parameters
    ----------
    out : str or Path
        The folder; made if it is not there.
    files : mapping of str to bytes
        Path within the folder -> content.

    Raises
    ------
    InputError
        If the folder or a file cannot be written.
    """
    out = Path(out)
    made: list[Path] = []
    waiting: dict[Path, Path] = {}
    try:
        for name, content in files.items():
            target = out / name
            if target.is_dir():
                raise InputError(f"{target} is a folder, but a file of this name is to be written; move it away.")
            _make_folder(target.parent, made)
            handle, temporary = tempfile.mkstemp(prefix=".pithline-", dir=target.parent)
            waiting[target] = Path(temporary)
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            os.chmod(temporary, 0o666 & ~_umask())
        _rename_all(waiting)
    except BaseException as error:
        for temporary_path in waiting.values():
            temporary_path.unlink(missing_ok=True)
        for folder in reversed(made):
            if not any(folder.iterdir()):
                folder.rmdir()
        if isinstance(error, OSError):
            reason = error.strerror or str(error)
            raise InputError(f"{out} cannot be written ({reason}); choose another --out folder.") from error
        raise


def _make_folder(folder: Path, made: list[Path]) -> None:
    missing = []
    while not folder.exists():
        missing.append(folder)
        folder = folder.parent
    for one in reversed(missing):
        one.mkdir()
        made.append(one)


def _rename_all(waiting: Mapping[Path, Path]) -> None:
    """Rename every temporary file onto its target, keeping the old files until all are in place."""
    kept: dict[Path, Path] = {}
    done: list[Path] = []
    try:
        for target, temporary in waiting.items():
            if target.exists():
                old = temporary.with_name(temporary.name + "-old")
                os.replace(target, old)
                kept[target] = old
            os.replace(temporary, target)
            done.append(target)
    except OSError:
        for target in done:
            target.unlink(missing_ok=True)
        for target, old in kept.items():
            os.replace(old, target)
        raise
    for old in kept.values():
        old.unlink()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
