"""The one place that opens a file: what is no ordinary file of its kind is refused in a sentence, at once."""

import os
import socket
from pathlib import Path

import pytest

from drivers.errors import FileError
from drivers.opening import TRACE, Kind, read_bytes, read_text

SMALL = Kind("note", 5_000_000, 100)


def refusal(path: Path, kind: Kind = SMALL) -> str:
    with pytest.raises(FileError) as caught:
        read_text(path, kind)
    said = str(caught.value)
    assert "\n" not in said
    return said


def test_text_is_read_without_mark_and_without_the_zeros_of_a_power_cut(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_bytes(b"\xef\xbb\xbfone\ntwo\n" + b"\0" * 5000)
    assert read_text(path, SMALL) == "one\ntwo\n"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_that_nobody_writes_to(tmp_path: Path) -> None:
    """Findings 7.3: a FIFO blocked for ever."""
    path = tmp_path / "pipe.csv"
    os.mkfifo(path)
    assert "is a pipe and no ordinary file" in refusal(path)


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="this system has no /dev/zero")
def test_a_device_behind_a_link(tmp_path: Path) -> None:
    """Findings 7.3: /dev/zero behind a link ate the memory."""
    path = tmp_path / "link.csv"
    path.symlink_to("/dev/zero")
    assert "is a device and no ordinary file" in refusal(path)


@pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="this system has no such sockets")
def test_a_socket(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with socket.socket(socket.AF_UNIX) as end:
        end.bind("s.csv")
        assert "is a socket and no ordinary file" in refusal(Path("s.csv"))


def test_a_folder_a_missing_file_and_no_path_at_all(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    assert "is a folder" in refusal(tmp_path)
    assert "there is no such note" in refusal(tmp_path / "none")
    assert "there is no such note" in refusal(tmp_path / "file" / "below")
    assert "this is no path" in refusal(Path("a\0b"))
    assert "cannot be opened" in refusal(tmp_path / ("x" * 5000))


def test_a_file_of_gigabytes_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "large.csv"
    with path.open("wb") as file:
        file.truncate(TRACE.most_bytes + 1)
    assert "is too large for a trace (over 600 MB)" in refusal(path, TRACE)


def test_zeros_before_text(tmp_path: Path) -> None:
    """Findings 7.3: 200 MB of sparse zeros took 1.5 GB."""
    path = tmp_path / "sparse.csv"
    with path.open("wb") as file:
        file.write(b"time\n")
        file.seek(3_000_000)
        file.write(b"1")
    assert "is not a text file" in refusal(path)


@pytest.mark.parametrize("text", [b"x" * 101, b"a\n" + b"x" * 101, b"a\n" * 700_000 + b"x" * 101 + b"\n", b"," * 4_000_000])
def test_a_line_without_an_end(tmp_path: Path, text: bytes) -> None:
    """Findings 7.3: a header of 30 MB deadlocked the pool, 30 MB of commas took 1 GB."""
    path = tmp_path / "long.csv"
    path.write_bytes(text)
    assert "has a line of over 100 characters" in refusal(path)


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
@pytest.mark.parametrize("length", [1, 99, 100])
def test_lines_of_the_longest_kind_pass_however_the_portions_fall(tmp_path: Path, end: bytes, length: int) -> None:
    path = tmp_path / "lines.txt"
    text = (b"x" * (length - len(end) + 1) + end) * 12_000 + b"x" * length
    path.write_bytes(text)
    assert read_bytes(path, SMALL) == text


def test_other_encodings(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("x", encoding="utf-16")
    assert "UTF-16" in refusal(path)
    path.write_bytes(b"\xe9\n")
    assert "is not a text file in UTF-8 (byte 0)" in refusal(path)
