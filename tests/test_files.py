"""Results files replace what was there whole, or not at all."""

import os
import stat

import pytest

from hbsim.errors import Refusal
from hbsim.files import check_writable, replaced


def test_a_file_is_written_whole_and_leaves_nothing_beside_it(tmp_path):
    path = tmp_path / "a.csv"
    with replaced(path) as handle:
        handle.write("1\n")
    assert path.read_bytes() == b"1\n" and os.listdir(tmp_path) == ["a.csv"]


def test_a_failure_in_the_midst_keeps_what_was_there(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("old")
    with pytest.raises(KeyboardInterrupt):
        with replaced(path) as handle:
            handle.write("new")
            raise KeyboardInterrupt
    assert path.read_text() == "old" and os.listdir(tmp_path) == ["a.csv"]


def test_permissions_stay_and_new_files_follow_the_umask(tmp_path):
    old, new = tmp_path / "old", tmp_path / "new"
    old.write_text("x")
    old.chmod(0o640)
    mask = os.umask(0o027)
    try:
        for path in (old, new):
            with replaced(path, "wb") as handle:
                handle.write(b"y")
        assert os.umask(0o027) == 0o027
    finally:
        os.umask(mask)
    assert stat.S_IMODE(old.stat().st_mode) == 0o640 and stat.S_IMODE(new.stat().st_mode) == 0o640


def test_a_link_stays_and_its_target_is_replaced(tmp_path):
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to("real")
    with replaced(tmp_path / "link") as handle:
        handle.write("new")
    assert (tmp_path / "link").is_symlink() and (tmp_path / "real").read_text() == "new"


def test_what_is_no_regular_file_is_written_to_and_not_replaced(tmp_path):
    reader, writer = os.pipe()
    with replaced(f"/dev/fd/{writer}") as handle:
        handle.write("through a pipe")
    os.close(writer)
    assert os.read(reader, 100) == b"through a pipe"
    os.close(reader)
    with replaced(os.devnull) as handle:
        handle.write("away")
    assert not os.path.isfile(os.devnull)


@pytest.mark.parametrize("name, words", [("nowhere/a.csv", "'.*nowhere' does not exist"), (".", "folder"),
                                         ("file/a.csv", "does not exist")])
def test_what_cannot_be_written_is_refused_beforehand(tmp_path, name, words):
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(Refusal, match=words) as caught:
        check_writable(tmp_path / name)
    assert caught.value.file == str(tmp_path / name)
    with pytest.raises(Refusal, match="cannot be written"):
        with replaced(tmp_path / name):
            raise AssertionError("the block must not start")


@pytest.mark.skipif(os.geteuid() == 0, reason="everything is writable for root")
def test_a_folder_or_file_of_others_is_refused(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("x")
    path.chmod(0o400)
    with pytest.raises(Refusal, match="cannot be written"):
        check_writable(path)
    tmp_path.chmod(0o500)
    try:
        for name in ("a.csv", "b.csv"):
            with pytest.raises(Refusal, match="cannot be written"):
                check_writable(tmp_path / name)
    finally:
        tmp_path.chmod(0o700)


def test_checking_touches_nothing(tmp_path):
    check_writable(tmp_path / "a.csv")
    assert os.listdir(tmp_path) == []
