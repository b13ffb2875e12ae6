"""Reading files: bytes, their hash, and TOML by tables of known keys, where one walk finds every fault and the first is told.

A TOML file "as read" has the same tables and keys, lengths in mm, rates in mm/min, volumes in mm³, weights in kg, angles in degrees as
they were typed, and defaults filled in.
"""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.keys.declared import Table
from pithline.keys.walk import walk


def sha256_of(path: str | Path) -> str:
    """SHA-256 of a file's bytes, in hexadecimal."""
    return hashlib.sha256(read_bytes(path)).hexdigest()


def read_bytes(path: str | Path) -> bytes:
    """The bytes of a file, or an InputError that says why not."""
    path = Path(path)
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file; check the name and the folder.") from None
    except IsADirectoryError:
        raise InputError(f"{path} is a folder; name a file in it.") from None
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror or error}); check its permissions.") from None


def read_toml(path: str | Path, known: Table) -> dict[str, Any]:
    """Read and check a TOML file.

    Parameters
    ----------
    path : str or Path
        The file; named in messages as it is given here.
    known : Table
        The tables and keys the file may have.

    Returns
    -------
    dict
        The file as read (see the top of this module).

    Raises
    ------
    InputError
        The first fault in file order, and how many more there are.
    """
    try:
        document = tomllib.loads(read_bytes(path).decode("utf-8"))
    except UnicodeDecodeError:
        raise InputError(f"{path} is not UTF-8 text; save it again as plain UTF-8 text.") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: not readable as TOML: {error}; mend that line.") from None
    except ValueError:  # a whole number beyond what Python reads
        raise InputError(f"{path}: a number has thousands of digits; mend it.") from None
    except RecursionError:
        raise InputError(f"{path}: not readable as TOML: brackets within brackets without end; mend it.") from None
    faults: list[str] = []
    values = walk(document, known, faults)
    tell(path, faults)
    return values


def tell(path: str | Path, faults: list[str]) -> None:
    """Raise the first of `faults`, with the number of those that follow; nothing if there are none."""
    if not faults:
        return
    more = len(faults) - 1
    rest = f" ({more} more fault{'s' if more > 1 else ''} in this file.)" if more else ""
    raise InputError(f"{path}: {faults[0]}{rest}")
