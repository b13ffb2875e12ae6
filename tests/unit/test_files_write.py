"""Folders are written whole or not at all."""

import os

import pytest

from pithline.errors import InputError
from pithline.files import write
from pithline.files.write import check_folder, write_folder


def tree(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_writes_and_replaces(tmp_path):
    out = tmp_path / "a" / "out"
    write_folder(out, {"one.txt": b"1", "logs/two.txt": b"2"})
    write_folder(out, {"one.txt": b"3"})
    assert tree(out) == {"one.txt": b"3", "logs/two.txt": b"2"}


def test_nothing_is_left_when_a_file_is_in_the_way(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be written"):
        write_folder(tmp_path / "file" / "out", {"one.txt": b"1"})
    assert tree(tmp_path) == {"file": b"x"}


def test_nothing_is_left_when_a_name_is_a_folder(tmp_path):
    (tmp_path / "out" / "two.txt").mkdir(parents=True)
    with pytest.raises(InputError, match=r"two\.txt is a folder"):
        write_folder(tmp_path / "out", {"one.txt": b"1", "two.txt": b"2"})
    assert tree(tmp_path) == {}


def test_old_files_come_back_when_the_second_rename_fails(tmp_path, monkeypatch):
    out = tmp_path / "out"
    write_folder(out, {"one.txt": b"old 1", "two.txt": b"old 2"})
    usual = os.replace

    def failing(source, target):
        if str(target).endswith("two.txt") and not str(source).endswith("-old"):
            raise OSError(28, "No space left on device")
        usual(source, target)

    monkeypatch.setattr(write.os, "replace", failing)
    with pytest.raises(InputError, match="No space left on device"):
        write_folder(out, {"one.txt": b"new 1", "two.txt": b"new 2"})
    assert tree(out) == {"one.txt": b"old 1", "two.txt": b"old 2"}


def test_new_folders_are_taken_away_again(tmp_path, monkeypatch):
    def failing(source, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(write.os, "replace", failing)
    with pytest.raises(InputError, match="cannot be written"):
        write_folder(tmp_path / "new" / "out", {"one.txt": b"1"})
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_is_refused_before_any_work(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("x")
    for good in (tmp_path, tmp_path / "new", tmp_path / "new" / "deep", "new", ".", "./new/deep"):
        check_folder(good)
    for bad in (tmp_path / "file", tmp_path / "file" / "out", "file", "file/a/b"):
        with pytest.raises(InputError, match="file is a file, so nothing can be written into"):
            check_folder(bad)
    with pytest.raises(InputError, match="cannot be a folder"):
        check_folder(tmp_path / ("w" * 400))
    assert tree(tmp_path) == {"file": b"x"}
