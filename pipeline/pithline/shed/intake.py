"""Files sent to the yard: what they are by their content, how large they may be, and the name they are kept under."""

from __future__ import annotations

import json
import re
import shutil
import tempfile
import unicodedata
import zipfile
from collections.abc import AsyncIterator
from pathlib import Path

from pithline.errors import InputError
from pithline.files.scans import SCAN_SUFFIXES
from pithline.files.write import write_folder

GIB = 1024**3
LARGEST_PHOTO = 64 * 1024**2
LARGEST = 2 * GIB
LARGEST_UNPACKED = 6 * GIB
MOST_PACKED_FILES = 2000
LEFT_FREE = GIB // 2
"""Of the disk, after a file was taken in."""
NAME_LENGTH = 60
HEAD = 4096
"""Bytes that tell what a file is."""


def kept_name(sent: str) -> str:
    """The name a file is kept under: letters, figures, hyphen, dot and underscore of what was sent, never a path.

    InputError where nothing remains.
    """
    last = re.split(r"[/\\]", sent)[-1]
    stem, _, _suffix = last.rpartition(".") if "." in last else (last, "", "")
    words = safe_words(stem)
    if not words:
        raise InputError("that file has no name of letters or figures; name it after the log and send it again.")
    return words


def safe_words(typed: str) -> str:
    """What of some words may stand in a file's name, as one word; empty where nothing may."""
    plain = unicodedata.normalize("NFKC", typed)
    return re.sub(r"[^\w.-]+", "-", plain).strip("-._ ")[:NAME_LENGTH].strip("-._ ")


def suffix_of(sent: str) -> str:
    """The suffix of a file's name, in lower case without the dot."""
    return sent.rpartition(".")[2].lower() if "." in sent else ""


def kind_by_content(head: bytes) -> str:
    """What a file is by its first bytes: a suffix, "text" for numbers in lines, or "" where it is nothing known."""
    for start, kind in _STARTS:
        if head.startswith(start):
            return kind
    if head.startswith(b"solid"):
        return "stl"
    if b"\0" in head:
        return "stl" if len(head) > 84 else ""
    if head.lstrip().startswith(b"{") and b"asset" in head:
        return "gltf"
    text = head.decode("utf-8", errors="replace")
    if re.search(r"(?m)^VERSION|^# \.PCD", text):
        return "pcd"
    if re.search(r"(?m)^(v|vn|f|o|g|mtllib) ", text):
        return "obj"
    return "text" if re.search(r"(?m)^\s*[-+\d.]+[\s,;]+[-+\d.]+[\s,;]+[-+\d.]+", text) else ""


_STARTS = (
    (b"ply", "ply"),
    (b"LASF", "las"),
    (b"ASTM-E57", "e57"),
    (b"glTF", "glb"),
    (b"PK\x03\x04", "zip"),
    (b"\x89PNG", "picture"),
    (b"\xff\xd8\xff", "picture"),
)
_MAY_BE = {"las": {"las", "laz"}, "text": {"xyz", "txt", "csv", "asc", "pts"}, "stl": {"stl"}}


def check_kind(sent: str, head: bytes) -> str:
    """The suffix to keep a scan under; InputError where its name and its content disagree, or it is no scan."""
    suffix, kind = suffix_of(sent), kind_by_content(head)
    if suffix not in SCAN_SUFFIXES:
        raise InputError(
            f'"{suffix[:12] or "no suffix"}" is no scan that can be read; export it as one of: {", ".join(sorted(SCAN_SUFFIXES))}.'
        )
    if suffix not in _MAY_BE.get(kind, {kind}):
        shown = f"its content is {kind.upper()}" if kind else "its content is no scan"
        raise InputError(f"the file is named .{suffix}, but {shown}; export the scan again.")
    return suffix


def check_zip(path: Path) -> None:
    """Refuse an archive that would unpack to too much; its names are never used as paths by us, and must not be absolute or climb."""
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
    except zipfile.BadZipFile:
        raise InputError("the zip cannot be read; pack the scan again.") from None
    if len(entries) > MOST_PACKED_FILES or sum(entry.file_size for entry in entries) > LARGEST_UNPACKED:
        raise InputError(
            f"the zip unpacks to more than {LARGEST_UNPACKED // GIB} GiB or {MOST_PACKED_FILES} files; send the scan alone."
        )
    for entry in entries:
        if entry.filename.startswith(("/", "\\")) or ".." in re.split(r"[/\\]", entry.filename):
            raise InputError("the zip holds a file outside its own folder; pack the scan again.")


def check_gltf(path: Path) -> None:
    """Refuse a glTF that names other files: none was sent beside it, and none of this machine's may be read for it."""
    try:
        document = json.loads(path.read_bytes())
    except ValueError:
        raise InputError("the glTF cannot be read; export the scan as GLB.") from None
    for part in ("buffers", "images"):
        for one in document.get(part, []) if isinstance(document, dict) else []:
            if not str(one.get("uri", "data:")).startswith("data:"):
                raise InputError("the glTF keeps its points in another file; export the scan as GLB, or zip both.")


async def take_in(root: Path, sent: str, chunks: AsyncIterator[bytes]) -> Path:
    """Write a scan that is being sent into the yard, whole or not at all, under a name that is free.

    Raises
    ------
    InputError
        Where it is no scan, too large, or the disk would be full.
    """
    name, written, suffix = kept_name(sent), 0, ""
    room = min(LARGEST, shutil.disk_usage(root).free - LEFT_FREE)
    with tempfile.NamedTemporaryFile(dir=root, prefix=".pithline-", delete=False) as file:
        part = Path(file.name)
        try:
            head = b""
            async for chunk in chunks:
                written += len(chunk)
                if written > room:
                    raise InputError(
                        f"the file is larger than the {room // 1024**2} MiB that this yard takes; thin the scan out."
                    )
                if not suffix:
                    head += chunk
                    if len(head) >= HEAD:
                        suffix = check_kind(sent, head[:HEAD])
                file.write(chunk)
            if not written:
                raise InputError("the file is empty; export the scan again.")
            suffix = suffix or check_kind(sent, head)
            file.flush()
            if suffix == "zip":
                check_zip(part)
            if suffix == "gltf":
                check_gltf(part)
            target = _free(root, name, suffix)
            part.chmod(0o644)
            part.rename(target)
            return target
        except BaseException:
            part.unlink(missing_ok=True)
            raise


async def take_photo(folder: Path, end: str, chunks: AsyncIterator[bytes]) -> Path:
    """Write a photograph of an end face beside the log's fit, in the place of an earlier one of that end.

    Raises
    ------
    InputError
        Where it is no JPEG or PNG, or too large.
    """
    content = bytearray()
    async for chunk in chunks:
        content += chunk
        if len(content) > LARGEST_PHOTO:
            raise InputError(
                f"the photograph is larger than {LARGEST_PHOTO // 1024**2} MiB; send it as the phone took it."
            )
    if kind_by_content(bytes(content[:HEAD])) != "picture":
        raise InputError("that is no photograph; send a JPEG or a PNG.")
    write_folder(folder, {photo_name(end): bytes(content)})
    return folder / photo_name(end)


def photo_name(end: str) -> str:
    """The file of the photograph of an end, whatever kind it is: readers go by its content."""
    return f"end-{end}.photo"


def _free(root: Path, name: str, suffix: str) -> Path:
    """A path in the yard that neither a scan nor a card has."""
    number, stem = 1, name
    while any(root.glob(f"{_literal(stem)}.*")):
        number += 1
        stem = f"{name}-{number}"
    return root / f"{stem}.{suffix}"


def _literal(name: str) -> str:
    return re.sub(r"([*?\[])", r"[\1]", name)
