"""Photographs on their way from a browser: whole onto the disk, and what is none refused before it is here."""

from __future__ import annotations

import re

import numpy as np
import pytest
from PIL import Image

from contrastkit.errors import InvalidInputError, UnreadablePhotoError
from contrastkit.keep.adding import content_hash
from contrastkit.keep.photos import keep_photo, photo_folder
from contrastkit.keep.store import open_store
from contrastkit.panels.uploads import MOST_BYTES, PART_BYTES, Upload, plain_name

PNG = b"\x89PNG\r\n\x1a\n"


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("board.jpg", "board.jpg"),
        ("../../etc/board.jpg", "board.jpg"),
        ("C:\\photos\\board.HEIC", "board.HEIC"),
        ("<img src=x onerror=alert(1)>.jpg", "<img src=x onerror=alert(1)>.jpg"),
        ("a\x00b\x1b\u202ecd\n.jpg", "abcd.jpg"),
        ("x" * 400 + ".jpeg", "x" * 100 + ".jpeg"),
        ("y" * 400, "y" * 100),
        ("...", "photo"),
        ("", "photo"),
    ],
)
def test_a_browsers_name_is_reduced_to_its_last_part_and_kept_as_text(given, name):
    """A name could lead out of its folder, or turn the page's writing round."""
    assert plain_name(given) == name


def test_a_file_comes_whole_in_parts(tmp_path):
    """A photograph would arrive with a part missing, and be damaged."""
    data = PNG + np.random.default_rng(1).bytes(2_500_000)
    upload = Upload(tmp_path / "1", "../up/board.PNG", len(data))
    for start in range(0, len(data), PART_BYTES):
        assert not upload.is_whole
        upload.take(memoryview(data)[start : start + PART_BYTES])
    assert upload.is_whole and upload.taken == len(data)
    assert upload.file == tmp_path / "1" / "photo.png"
    assert upload.file.read_bytes() == data
    upload.drop()
    assert not upload.file.exists()


def test_what_is_too_large_is_refused_before_any_of_it_is_here(tmp_path):
    """Gigabytes would be sent before anyone says no."""
    words = "A photo must be at most 200 MB to be dropped here; 'film.mov' has 3000 MB. Export it as JPEG."
    with pytest.raises(UnreadablePhotoError, match=re.escape(words)):
        Upload(tmp_path / "1", "film.mov", 3_000_000_000)
    assert not (tmp_path / "1").exists()
    assert Upload(tmp_path / "2", "just.jpg", MOST_BYTES).taken == 0
    with pytest.raises(UnreadablePhotoError, match="must hold data; 'board.jpg' is empty"):
        Upload(tmp_path / "3", "board.jpg", 0)


@pytest.mark.parametrize(
    ("head", "words"),
    [
        (b"%PDF-1.7" + bytes([0, 200] * 3000), "'x.jpg' is a PDF document"),
        (b"#!/bin/sh\necho\n" * 400, "'x.jpg' is text, whatever its name says"),
        (b"MZ" + bytes([0, 250] * 3000), "'x.jpg' is none of these (it starts with the bytes 4d 5a 00 fa)"),
    ],
)
def test_what_is_no_photograph_is_refused_at_its_first_part(tmp_path, head, words):
    """Two hundred megabytes of something else would be sent first."""
    upload = Upload(tmp_path, "x.jpg", 150_000_000)
    with pytest.raises(UnreadablePhotoError, match=re.escape(words)):
        upload.take(head[:4100])


def test_first_bytes_may_come_in_crumbs(tmp_path):
    """Something else could slip through in very small parts."""
    upload = Upload(tmp_path, "x.jpg", 150_000_000)
    upload.take(b"%PDF-")
    with pytest.raises(UnreadablePhotoError, match="PDF"):
        upload.take(b"1" * 5000)


def test_a_page_that_sends_other_than_it_said_is_refused(tmp_path):
    """A page could fill the disk by saying little and sending much."""
    upload = Upload(tmp_path, "x.png", 100)
    with pytest.raises(UnreadablePhotoError, match="as many bytes as was said; 'x.png' has more. Drop it again"):
        upload.take(PNG + bytes(200))
    for part in (b"", bytes(PART_BYTES + 1)):
        with pytest.raises(InvalidInputError, match=f"must have 1 to 1000000 bytes; got {len(part)}. Drop the file"):
            upload.take(part)


def test_a_disk_without_room_is_said(tmp_path):
    """The page would wait for ever."""
    upload = Upload(tmp_path / "1", "x.png", 100)
    upload.file.mkdir()
    with pytest.raises(InvalidInputError, match="There must be room for 'x.png'; the system says: Is a directory"):
        upload.take(PNG + bytes(92))


# --- kept beside the catalogue ----------------------------------------------------------------------------------------


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "pile.sqlite") as store:
        yield store


def picture(path, value):
    Image.fromarray(np.full((70, 70, 3), value, np.uint8)).save(path)
    return path


def test_a_photograph_is_copied_beside_the_catalogue_once(store, tmp_path):
    """The photograph that a measurement came from would be lost with the page, or pile up."""
    file = picture(tmp_path / "x.png", 9)
    place = keep_photo(store, file, "my board.png")
    assert place.parent == photo_folder(store) == tmp_path / "photos"
    assert place.name == f"my board-{content_hash(file)[:12]}.png"
    assert place.read_bytes() == file.read_bytes()
    assert keep_photo(store, file, "my board.png") == place
    assert [each.name for each in place.parent.iterdir()] == [place.name]


def test_nothing_there_is_written_over(store, tmp_path):
    """Another photograph, or whatever lies there by that name, would be lost."""
    file = picture(tmp_path / "x.png", 9)
    place = keep_photo(store, file, "board.png")
    place.write_bytes(b"something else")
    other = keep_photo(store, file, "board.png")
    assert (place.read_bytes(), other.read_bytes()) == (b"something else", file.read_bytes())
    assert other.name == f"board-{content_hash(file)[:12]}-2.png"


@pytest.mark.parametrize("name", ["../../x.png", "<img onerror=1>.png", "a" * 300 + ".png", "", "...", "x.png\\..\\y"])
def test_a_copy_stays_in_its_folder_whatever_its_name(store, tmp_path, name):
    """A name from a page could write anywhere."""
    place = keep_photo(store, picture(tmp_path / "x.png", 9), name)
    assert place.resolve().parent == tmp_path / "photos"
    assert re.fullmatch(r"[\w .()+-]+", place.name) and len(place.name) < 100


def test_a_copy_that_cannot_be_made_is_said(store, tmp_path):
    """Pieces would be kept and point at a photograph that is not there."""
    (tmp_path / "photos").write_text("in the way")
    with pytest.raises(InvalidInputError, match="must be a folder"):
        keep_photo(store, picture(tmp_path / "x.png", 9), "x.png")
    with pytest.raises(UnreadablePhotoError, match="must be there to be known by its content"):
        keep_photo(store, tmp_path / "nowhere.png", "x.png")


def test_a_disk_that_is_full_is_said_and_nothing_half_is_left(store, tmp_path, monkeypatch):
    """Half a photograph would stand there by a good name."""
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("contrastkit.keep.photos.shutil.copyfile", full)
    with pytest.raises(InvalidInputError, match="cannot be copied to .*photos': No space left on device. Make room"):
        keep_photo(store, picture(tmp_path / "x.png", 9), "x.png")
    assert list((tmp_path / "photos").iterdir()) == []
