"""Extra fields of LAS files whose names are repeated: named apart, so that the file can be read."""

from __future__ import annotations

import struct

SIGNATURE = b"LASF"
HEADER_SIZE_AT, RECORDS_AT = 94, 100
"""Where a LAS header tells its own size (2 bytes) and the number of variable length records (4 bytes)."""
RECORD = struct.Struct("<2x16sHH32x")
"""Head of a variable length record: user id, record id, length of what follows."""
EXTRA_USER, EXTRA_RECORD = b"LASF_Spec", 4
DESCRIPTOR, NAME_AT, NAME_SIZE = 192, 4, 32
"""Size of one extra field's descriptor, and where in it the name stands.

All of it from the LAS Specification 1.4 R15, American Society for Photogrammetry and Remote Sensing, 2019: public header block,
variable length records, extra bytes (from memory)."""

OWN_NAMES = frozenset(
    b"X Y Z intensity return_number number_of_returns scan_direction_flag edge_of_flight_line classification synthetic key_point "
    b"withheld overlap scanner_channel scan_angle_rank scan_angle user_data point_source_id gps_time red green blue nir".split()
)
"""Names that every file has of itself."""


def named_apart(data: bytes) -> bytes:
    """The file with a number added to the names of extra fields that occur more than once, or are a LAS file's own; else the same bytes."""
    if data[:4] != SIGNATURE or len(data) < RECORDS_AT + 4:
        return data
    place = int.from_bytes(data[HEADER_SIZE_AT : HEADER_SIZE_AT + 2], "little")
    records = int.from_bytes(data[RECORDS_AT : RECORDS_AT + 4], "little")
    out: bytearray | None = None
    for _ in range(records):
        if place + RECORD.size > len(data):
            break
        user, number, size = RECORD.unpack_from(data, place)
        place += RECORD.size
        if user.rstrip(b"\0") == EXTRA_USER and number == EXTRA_RECORD:
            for at, name in _renamed(data, place, size):
                out = bytearray(data) if out is None else out
                out[at : at + NAME_SIZE] = name
        place += size
    return data if out is None else bytes(out)


def _renamed(data: bytes, start: int, size: int) -> list[tuple[int, bytes]]:
    """Where a name is repeated in the descriptors of one record, and the name to put there."""
    places = [at + NAME_AT for at in range(start, min(start + size, len(data)) - DESCRIPTOR + 1, DESCRIPTOR)]
    names = [data[at : at + NAME_SIZE].rstrip(b"\0") for at in places]
    taken, changed = set(names) | OWN_NAMES, []
    for index, (at, name) in enumerate(zip(places, names, strict=True)):
        if name in names[:index] or name in OWN_NAMES:
            count = 2
            while (fresh := name[: NAME_SIZE - 6] + f"_{count}".encode()) in taken:
                count += 1
            taken.add(fresh)
            changed.append((at, fresh.ljust(NAME_SIZE, b"\0")))
    return changed
