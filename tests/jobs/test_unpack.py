"""ZIPs taken in as folders, and every trap refused (OWASP File Upload cheat sheet: ZIP bombs, path traversal)."""

from __future__ import annotations

import io
import stat
import zipfile
from pathlib import Path
from typing import Any

import pytest

from server.errors import BadValue, TooMuch, Unreadable
from server.jobs.unpack import Contents, UnpackOrder, unpack
from tests.web.live import picture

PNG = picture()


def archive(entries: dict[str, bytes], compression: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", compression) as made:
        for name, content in entries.items():
            made.writestr(zipfile.ZipInfo(name, (2024, 5, 6, 7, 8, 10)), content, compression)
    return out.getvalue()


def unpacked(tmp_path: Path, content: bytes, **limits: int) -> Contents:
    source, into = tmp_path / "a.zip", tmp_path / "into"
    source.write_bytes(content)
    into.mkdir()
    bounds: dict[str, Any] = {"files": 100, "file_bytes": 1_000_000, "total_bytes": 5_000_000, **limits}
    return unpack(lambda *step: None, UnpackOrder(source, "archive", into, **bounds))  # type: ignore[arg-type]


def test_a_folder_comes_out_with_its_paths_times_and_keys(tmp_path: Path) -> None:
    found = unpacked(tmp_path, archive({"fronts/a_x2.png": PNG, "backs/b.png": PNG + b"1", "deck.csv": b"front\n"}))
    assert {one.path for one in found.files} == {"fronts/a_x2.png", "backs/b.png", "deck.csv"}
    first = found.files[0]
    assert first.place.read_bytes() == PNG
    assert (first.bytes, first.modified) == (len(PNG), 1_714_979_290_000)  # 2024-05-06T07:08:10Z, by `date -u +%s`


@pytest.mark.parametrize(("names", "paths"), [
    (["My deck/fronts/a.png", "My deck/backs/b.png"], {"fronts/a.png", "backs/b.png"}),
    (["fronts/a.png", "fronts/b.png"], {"fronts/a.png", "fronts/b.png"}),
    (["one/a.png", "two/b.png"], {"one/a.png", "two/b.png"}),
    (["a.png"], {"a.png"}),
])
def test_one_folder_around_everything_is_taken_off(tmp_path: Path, names: list[str], paths: set[str]) -> None:
    found = unpacked(tmp_path, archive(dict.fromkeys(names, PNG)))
    assert {one.path for one in found.files} == paths


def test_what_is_no_art_is_left_out_with_its_reason_and_litter_without(tmp_path: Path) -> None:
    found = unpacked(tmp_path, archive({"fronts/a.png": PNG, "notes.txt": b"hello", "empty.png": b"",
                                        "__MACOSX/fronts/._a.png": b"x", "fronts/.DS_Store": b"x", "Thumbs.db": b"x"}))
    assert [one.path for one in found.files] == ["fronts/a.png"]
    assert dict(found.ignored) == {"notes.txt": "is no art by its content", "empty.png": "is empty"}


@pytest.mark.parametrize("name", ["../a.png", "fronts/../../a.png", "/a.png", "C:/a.png", "..\\a.png", "a\x01.png"])
def test_a_name_that_climbs_refuses_the_archive(tmp_path: Path, name: str) -> None:
    with pytest.raises(BadValue, match="path"):
        unpacked(tmp_path, archive({"fronts/good.png": PNG, name: PNG}))
    assert list((tmp_path / "into").iterdir()) == []
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.zip", "into"]


def test_a_link_refuses_the_archive(tmp_path: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        link = zipfile.ZipInfo("fronts/a.png")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        made.writestr(link, "/etc/passwd")
    with pytest.raises(BadValue, match=r"fronts/a\.png.*link"):
        unpacked(tmp_path, out.getvalue())


def test_an_archive_in_the_archive_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadValue, match=r"inner\.png.*archive in the archive"):
        unpacked(tmp_path, archive({"inner.png": archive({"a.png": PNG})}))


def test_a_bomb_is_refused_by_its_directory(tmp_path: Path) -> None:
    bomb = archive({f"{number}.png": bytes(900_000) for number in range(10)})
    assert len(bomb) < 20_000
    with pytest.raises(TooMuch, match="unpacks to 9 MB"):
        unpacked(tmp_path, bomb)
    assert list((tmp_path / "into").iterdir()) == []


def test_one_large_entry_is_named(tmp_path: Path) -> None:
    with pytest.raises(TooMuch, match=r"large\.png"):
        unpacked(tmp_path, archive({"large.png": PNG + bytes(2_000_000)}))


def test_a_directory_that_lies_gets_no_more_than_it_says(tmp_path: Path) -> None:
    """The sizes in both headers are forged to 10 bytes (APPNOTE.TXT, 4.3.7 and 4.3.12)."""
    honest = archive({"a.png": PNG + bytes(100_000)}, zipfile.ZIP_STORED)
    size = (len(PNG) + 100_000).to_bytes(4, "little")
    forged = honest.replace(size + size, size + (10).to_bytes(4, "little"))
    with pytest.raises((Unreadable, TooMuch)):
        unpacked(tmp_path, forged)


def test_too_many_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(TooMuch, match="holds 101 files"):
        unpacked(tmp_path, archive({f"{number}.png": b"" for number in range(101)}))


def test_an_encrypted_entry_is_refused(tmp_path: Path) -> None:
    content = bytearray(archive({"a.png": PNG}))
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):  # APPNOTE.TXT, 4.3.7 and 4.3.12
        content[content.index(signature) + offset] |= 1
    with pytest.raises(BadValue, match="encrypted"):
        unpacked(tmp_path, bytes(content))


@pytest.mark.parametrize("part", [0.1, 0.3, 0.5, 0.7, 0.9, 0.99])
def test_a_cut_off_archive_is_a_refusal(tmp_path: Path, part: float) -> None:
    whole = archive({"fronts/a.png": PNG, "fronts/b.png": PNG})
    with pytest.raises(Unreadable, match="can't be unpacked"):
        unpacked(tmp_path, whole[:int(len(whole) * part)])


def test_changed_bytes_are_a_refusal_or_whole_files(tmp_path: Path) -> None:
    """The checksum of each entry is looked at (APPNOTE.TXT, 4.4.7)."""
    whole = bytearray(archive({"fronts/a.png": PNG}, zipfile.ZIP_STORED))
    whole[whole.index(PNG) + len(PNG) // 2] ^= 0xFF
    with pytest.raises(Unreadable):
        unpacked(tmp_path, bytes(whole))


def test_a_name_that_a_nul_cuts_off_is_refused_and_named(tmp_path: Path) -> None:
    content = archive({"fronts/X.png": PNG}).replace(b"fronts/X.png", b"fronts/\0.png")
    with pytest.raises((BadValue, Unreadable)) as told:
        unpacked(tmp_path, content)
    assert "fronts/" in told.value.message or "archive" in told.value.message
