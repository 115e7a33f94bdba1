"""Everything of an organisation in one zip: the files of records, and if wanted the photos with a list."""

from __future__ import annotations

import csv
import io
import tempfile
import zipfile
from pathlib import Path
from typing import BinaryIO, Final, cast

from inspections.domain.photos import PictureMissing, open_picture
from inspections.models import Photo
from inspections.records.exporting import export_folder, local_time
from portfolio.models import Organisation

PHOTO_LIST: Final = "photos.csv"
PHOTO_COLUMNS: Final = ("building", "section", "taken_at", "caption", "file", "sha256")
CHUNK: Final = 1024 * 1024


def export_zip(organisation: Organisation, *, with_photos: bool = False) -> BinaryIO:
    """A temporary file with the zip, at its beginning; it is gone once it is closed."""
    out = cast(BinaryIO, tempfile.TemporaryFile())  # noqa: SIM115 - whoever answers with it closes it
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        with tempfile.TemporaryDirectory() as folder:
            export_folder(folder, organisation)
            for path in sorted(Path(folder).iterdir()):
                archive.write(path, path.name)
        if with_photos:
            _pack_photos(archive, organisation)
    out.seek(0)
    return out


def _pack_photos(archive: zipfile.ZipFile, organisation: Organisation) -> None:
    listed = io.StringIO(newline="")
    writer = csv.writer(listed, lineterminator="\n")
    writer.writerow(PHOTO_COLUMNS)
    packed: set[str] = set()
    photos = Photo.objects.of(organisation).standing().filter(building__voided_at__isnull=True)
    for photo in photos.select_related("building", "section").order_by("building__code", "taken_at", "id"):
        name = f"photos/{photo.sha256}.jpg"
        if photo.sha256 not in packed:
            if not _pack_picture(archive, photo, name):
                name = ""
            packed.add(photo.sha256)
        section = photo.section.code if photo.section else ""
        taken_at = local_time(photo.taken_at, photo.building.timezone)
        writer.writerow([photo.building.code, section, taken_at, photo.caption, name, photo.sha256])
    archive.writestr(PHOTO_LIST, listed.getvalue())


def _pack_picture(archive: zipfile.ZipFile, photo: Photo, name: str) -> bool:
    """Pictures are compressed already: they are only put in."""
    try:
        with open_picture(photo) as picture, archive.open(zipfile.ZipInfo(name), "w") as out:
            while chunk := picture.read(CHUNK):
                out.write(chunk)
    except PictureMissing:
        return False
    return True
