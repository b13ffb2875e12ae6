"""What is sent to a yard: names that are never paths, types by content, bounds."""

import asyncio
import io
import zipfile

import numpy as np
import pytest

from pithline.errors import InputError
from pithline.shed import intake
from pithline.shed.intake import check_gltf, check_kind, check_zip, kept_name, kind_by_content, take_in

PLY = b"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\nproperty float z\nend_header\n0 0 0\n"


def sent(root, name, *chunks):
    async def stream():
        for chunk in chunks:
            yield chunk

    return asyncio.run(take_in(root, name, stream()))


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("walnut 7.ply", "walnut-7"),
        ("../../etc/passwd.ply", "passwd"),
        ("C:\\logs\\big log.ply", "big-log"),
        ("..ply", None),
        ("<img src=x onerror=alert(1)>.ply", "img-src-x-onerror-alert-1"),
        ("nußbaum.ply", "nußbaum"),
        ("a" * 300 + ".ply", "a" * 60),
        ("/.ply", None),
        ("con\0trol.ply", "con-trol"),
        (".hidden.ply", "hidden"),
    ],
)
def test_a_name_is_never_a_path(name, kept):
    if kept is None:
        with pytest.raises(InputError, match="no name"):
            kept_name(name)
    else:
        assert kept_name(name) == kept


def test_a_scan_is_taken_in_whole_under_a_free_name(tmp_path):
    first = sent(tmp_path, "../log.ply", PLY[:10], PLY[10:])
    second = sent(tmp_path, "log.ply", PLY)
    assert (first.name, second.name) == ("log.ply", "log-2.ply")
    assert first.read_bytes() == PLY and first.parent == tmp_path
    assert sorted(path.name for path in tmp_path.iterdir()) == ["log-2.ply", "log.ply"]


def test_a_card_of_the_same_name_is_never_joined_to_another_scan(tmp_path):
    (tmp_path / "log.toml").write_text("[log]")
    assert sent(tmp_path, "log.ply", PLY).name == "log-2.ply"


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("log.ply", b"MZ\x90\x00" + b"\0" * 100, "content is"),
        ("log.ply", b"<html><script>", "no scan"),
        ("log.las", PLY, "content is PLY"),
        ("log.exe", PLY, "no scan that can be read"),
        ("log.html", b"<html>", "no scan that can be read"),
        ("log.toml", b"[log]", "no scan that can be read"),
        ("log.ply", b"", "empty"),
        ("log.zip", b"PK\x03\x04rubbish", "zip cannot be read"),
    ],
)
def test_what_is_no_scan_is_refused_and_leaves_nothing(tmp_path, name, content, says):
    with pytest.raises(InputError, match=says):
        sent(tmp_path, name, content)
    assert list(tmp_path.iterdir()) == []


def test_more_than_the_bound_is_refused_before_it_is_all_written(tmp_path, monkeypatch):
    monkeypatch.setattr(intake, "LARGEST", 1000)
    read = []

    async def stream():
        yield PLY
        for number in range(100):
            read.append(number)
            yield b"0 0 0\n" * 50

    with pytest.raises(InputError, match="larger"):
        asyncio.run(take_in(tmp_path, "log.ply", stream()))
    assert len(read) < 10 and list(tmp_path.iterdir()) == []


def test_a_sender_that_breaks_off_leaves_nothing(tmp_path):
    async def stream():
        yield PLY[:20]
        raise ConnectionError

    with pytest.raises(ConnectionError):
        asyncio.run(take_in(tmp_path, "log.ply", stream()))
    assert list(tmp_path.iterdir()) == []


def packed(tmp_path, **entries):
    path = tmp_path / "scan.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries.items():
            archive.writestr(name.replace("_up_", "../"), content)
    return path


def test_a_zip_that_swells_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(intake, "LARGEST_UNPACKED", 10_000)
    with pytest.raises(InputError, match="unpacks to more"):
        check_zip(packed(tmp_path, **{"log.ply": b"0" * 20_000}))


def test_a_zip_that_climbs_is_refused(tmp_path):
    with pytest.raises(InputError, match="outside its own folder"):
        check_zip(packed(tmp_path, **{"_up_evil.ply": PLY}))
    check_zip(packed(tmp_path, **{"folder/log.ply": PLY}))


def test_a_gltf_may_name_no_file_of_this_machine(tmp_path):
    path = tmp_path / "log.gltf"
    path.write_text('{"asset": {}, "buffers": [{"uri": "../../etc/passwd"}]}')
    with pytest.raises(InputError, match="another file"):
        check_gltf(path)
    path.write_text('{"asset": {}, "buffers": [{"uri": "data:;base64,AA=="}]}')
    check_gltf(path)


def test_content_tells_the_kind_of_every_format_that_is_read():
    stl = io.BytesIO(b"\0" * 80 + np.uint32(1).tobytes() + b"\0" * 50).getvalue()
    heads = {
        "ply": PLY,
        "las": b"LASF" + b"\0" * 200,
        "e57": b"ASTM-E57" + b"\0" * 100,
        "glb": b"glTF\x02\0\0\0",
        "stl": stl,
        "obj": b"# made by hand\nv 0 0 0\nv 1 0 0\n",
        "pcd": b"# .PCD v0.7\nVERSION 0.7\n",
        "text": b"0.1 0.2 0.3\n0.2 0.3 0.4\n",
        "gltf": b'{"asset": {"version": "2.0"}}',
        "zip": b"PK\x03\x04",
    }
    assert {kind: kind_by_content(head) for kind, head in heads.items()} == {kind: kind for kind in heads}
    assert check_kind("a.LAZ", heads["las"]) == "laz" and check_kind("a.xyz", b"x,y,z\n1,2,3\n") == "xyz"
