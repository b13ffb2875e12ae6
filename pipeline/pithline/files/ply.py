"""PLY files, ascii and binary, read without loss: every vertex, in the file's own order and precision."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

_TYPES = {
    "char": "i1",
    "int8": "i1",
    "uchar": "u1",
    "uint8": "u1",
    "short": "i2",
    "int16": "i2",
    "ushort": "u2",
    "uint16": "u2",
    "int": "i4",
    "int32": "i4",
    "uint": "u4",
    "uint32": "u4",
    "float": "f4",
    "float32": "f4",
    "double": "f8",
    "float64": "f8",
}
_ORDERS = {"ascii": "=", "binary_little_endian": "<", "binary_big_endian": ">"}


@dataclass(slots=True)
class _Element:
    name: str
    count: int
    scalars: list[tuple[str, str]] = field(default_factory=list)  # (property, numpy type)
    lists: dict[str, tuple[str, str]] = field(default_factory=dict)  # property -> (type of count, type of items)
    order: list[str] = field(default_factory=list)


_Columns = Mapping[str, Any]
"""Property -> its values over all rows: an array, or a list of arrays where lists differ in length."""


@dataclass(frozen=True, slots=True)
class PlyContent:
    """Vertices (n, 3), their colours (n, 3) uint8 or None, and triangles (m, 3) or None."""

    points: NDArray[np.float64]
    colours: NDArray[np.uint8] | None
    triangles: NDArray[np.int64] | None


def parse_ply(data: bytes) -> PlyContent:
    """Vertices, colours and faces of a PLY file's bytes; faces of more than three corners are fanned to triangles.

    Raises
    ------
    ValueError
        What is wrong with the file, as half a sentence.
    """
    order, elements, body = _header(data)
    words = data[body:].split() if order == "=" else []
    at = 0 if order == "=" else body
    tables: dict[str, _Columns] = {}
    for element in elements:
        if order == "=":
            tables[element.name], at = _ascii(element, words, at)
        else:
            tables[element.name], at = _binary(element, data, at, order)
        if {"vertex", "face"} <= tables.keys():
            break
    vertex = tables.get("vertex")
    if vertex is None or not all(axis in vertex for axis in "xyz"):
        raise ValueError("it has no vertices with x, y and z")
    points = np.stack([np.asarray(vertex[axis], dtype=np.float64) for axis in "xyz"], axis=-1)
    return PlyContent(points, _colours(vertex), _triangles(tables.get("face"), len(points)))


def _header(data: bytes) -> tuple[str, list[_Element], int]:
    if not data.startswith(b"ply"):
        raise ValueError('it does not begin with "ply"')
    end = data.find(b"end_header")
    newline = data.find(b"\n", end)
    if end < 0 or newline < 0:
        raise ValueError("its header has no end")
    order, elements = "", []
    for line in data[:end].decode("latin-1").splitlines()[1:]:
        match line.split():
            case ["format", name, *_] if name in _ORDERS:
                order = _ORDERS[name]
            case ["element", name, count] if count.isdigit():
                elements.append(_Element(name, int(count)))
            case ["property", "list", counter, item, name] if elements and {counter, item} <= _TYPES.keys():
                elements[-1].lists[name] = (_TYPES[counter], _TYPES[item])
                elements[-1].order.append(name)
            case ["property", kind, name] if elements and kind in _TYPES:
                elements[-1].scalars.append((name, _TYPES[kind]))
                elements[-1].order.append(name)
            case [] | ["comment" | "obj_info", *_]:
                continue
            case _:
                raise ValueError(f'its header has a line that is not understood: "{line.strip()}"')
    if not order:
        raise ValueError("its header names no known format")
    return order, elements, newline + 1


def _binary(element: _Element, data: bytes, at: int, order: str) -> tuple[_Columns, int]:
    """An element's columns and where in the data it ends."""
    if not element.lists:
        kind = np.dtype([(name, order + code) for name, code in element.scalars])
        if len(data) < at + element.count * kind.itemsize:
            raise ValueError(f"it ends before its {element.count} {element.name} rows do")
        rows = np.frombuffer(data, kind, element.count, at)
        return {name: rows[name] for name, _ in element.scalars}, at + element.count * kind.itemsize
    uniform = _uniform_lists(element, data, at, order)
    return uniform if uniform is not None else _mixed_lists(element, data, at, order)


def _uniform_lists(element: _Element, data: bytes, at: int, order: str) -> tuple[_Columns, int] | None:
    """All rows at once where every list is as long as in the first row, as in a triangle mesh; else None."""
    scalars = dict(element.scalars)
    fields: list[tuple[str, str] | tuple[str, str, tuple[int]]] = []
    end = at
    for name in element.order:
        if name in scalars:
            fields.append((name, order + scalars[name]))
            end += np.dtype(scalars[name]).itemsize
            continue
        counter, item = element.lists[name]
        width = np.dtype(counter).itemsize
        if not element.count or len(data) < end + width:
            return None
        length = int(np.frombuffer(data, order + counter, 1, end)[0])
        fields += [(f"{name} count", order + counter), (name, order + item, (length,))]
        end += width + length * np.dtype(item).itemsize
    kind = np.dtype(fields)
    if len(data) < at + element.count * kind.itemsize:
        return None
    rows = np.frombuffer(data, kind, element.count, at)
    if any((rows[f"{name} count"] != rows[f"{name} count"][0]).any() for name in element.lists):
        return None
    return {name: rows[name] for name in element.order}, at + element.count * kind.itemsize


def _mixed_lists(element: _Element, data: bytes, at: int, order: str) -> tuple[_Columns, int]:
    """Row by row, where lists differ in length."""
    scalars = dict(element.scalars)
    columns: dict[str, list[Any]] = {name: [] for name in element.order}
    try:
        for _ in range(element.count):
            for name in element.order:
                code, length = scalars.get(name), 1
                if code is None:
                    counter, code = element.lists[name]
                    length = int(np.frombuffer(data, order + counter, 1, at)[0])
                    at += np.dtype(counter).itemsize
                values = np.frombuffer(data, order + code, length, at)
                at += values.nbytes
                columns[name].append(values if name in element.lists else values[0])
    except ValueError:
        raise ValueError(f"it ends before its {element.count} {element.name} rows do") from None
    return columns, at


def _ascii(element: _Element, words: list[bytes], at: int) -> tuple[_Columns, int]:
    """An element's columns out of the words of the file, and the word it ends before."""
    if not element.lists:
        width = len(element.scalars)
        if len(words) < at + element.count * width:
            raise ValueError(f"it ends before its {element.count} {element.name} rows do")
        rows = np.array(words[at : at + element.count * width], dtype="S").astype(np.float64)
        rows = rows.reshape(element.count, width)
        return {name: rows[:, i] for i, (name, _) in enumerate(element.scalars)}, at + element.count * width
    columns: dict[str, list[Any]] = {name: [] for name in element.order}
    for _ in range(element.count):
        for name in element.order:
            length = 1
            if at >= len(words):
                raise ValueError(f"it ends before its {element.count} {element.name} rows do")
            if name in element.lists:
                length, at = int(words[at]), at + 1
            values = np.array([float(word) for word in words[at : at + length]])
            at += length
            columns[name].append(values if name in element.lists else values[0])
    return columns, at


def _colours(vertex: _Columns) -> NDArray[np.uint8] | None:
    for names in (("red", "green", "blue"), ("diffuse_red", "diffuse_green", "diffuse_blue"), ("r", "g", "b")):
        if all(name in vertex for name in names):
            found = np.stack([np.asarray(vertex[name]) for name in names], axis=-1)
            return to_bytes(found)
    return None


def _triangles(face: _Columns | None, vertices: int) -> NDArray[np.int64] | None:
    rows = None if face is None else face.get("vertex_indices", face.get("vertex_index"))
    if rows is None or not len(rows):
        return None
    if isinstance(rows, np.ndarray):
        corners = rows.astype(np.int64)
        fans = range(1, corners.shape[1] - 1)
        parts = [np.stack([corners[:, 0], corners[:, i], corners[:, i + 1]], axis=-1) for i in fans]
    else:
        parts = [
            np.array([[row[0], row[i], row[i + 1]] for i in range(1, len(row) - 1)], dtype=np.int64).reshape(-1, 3)
            for row in rows
        ]
    found = np.concatenate(parts) if parts else np.empty((0, 3), np.int64)
    if len(found) and (found.min() < 0 or found.max() >= vertices):
        raise ValueError("a face names a vertex that is not there")
    return found if len(found) else None


def to_bytes(colours: NDArray[np.generic]) -> NDArray[np.uint8]:
    """Colours (n, 3) as 0 to 255, from bytes, from 16 bits, or from fractions of 1."""
    if colours.dtype == np.uint8:
        return np.array(colours)
    values = np.nan_to_num(np.asarray(colours, dtype=np.float64))
    most = values.max(initial=0.0)
    if colours.dtype.kind == "f" and most <= 1.0:
        values = values * 255.0
    elif most > 255.0:
        values = values / 257.0
    return np.clip(np.rint(values), 0, 255).astype(np.uint8)
