"""An invented book of one wall, and what a person does with it on the page for records."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from inspections.models import Upload

HOUSES = "code,name,street,locality,region,postal_code,country,timezone,year_built\n"
HOUSE = "H1,Kiln House (invented),,,,,,Europe/London,1890\n"
WALLS = (
    "building,code,wall,start_m,length_m,height_m,below_grade_m,substrate,bedding_mortar,adjoins\n"
    "H1,S1,N,0,2.5,2,1.5,brick,lime,soil\n"
)
METER = "code,kind,scale,minimum,maximum,resolution,repeatability\nM1,moisture_meter,relative,0,100,1,2\n"
READ = (
    "building,section,taken_at,quantity,height_mm,depth_mm,instrument,value,unit,qualifier,inspector,note\n"
)
BOOK = {"buildings.csv": HOUSES + HOUSE, "sections.csv": WALLS, "instruments.csv": METER}


def readings(count: int) -> str:
    moments = (f"{2000 + i // 300}-03-01T10:{i // 60 % 60:02}:{i % 60:02}" for i in range(count))
    return READ + "".join(
        f"H1,S1,{moment},surface_moisture,{i},0,M1,40,relative,,,\n" for i, moment in enumerate(moments)
    )


def sent(files: Mapping[str, str | bytes]) -> list[SimpleUploadedFile]:
    return [
        SimpleUploadedFile(name, text.encode() if isinstance(text, str) else text)
        for name, text in files.items()
    ]


def zipped(files: Mapping[str, str | bytes], **options: Any) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", **{"compression": zipfile.ZIP_DEFLATED, **options}) as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return out.getvalue()


def check(client: Client, files: Mapping[str, str | bytes]) -> Upload:
    """Send files, and give the upload that the answer leads to."""
    answer = client.post(reverse("records"), {"sent": sent(files)})
    assert answer.status_code == 302, answer.content.decode()
    return Upload.objects.get(pk=answer["Location"].strip("/").rpartition("/")[2])


def page_of(client: Client, upload: Upload) -> str:
    answer = client.get(reverse("upload", args=[upload.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def load(client: Client, upload: Upload) -> None:
    answer = client.post(reverse("upload", args=[upload.pk]))
    assert answer.status_code == 302
    upload.refresh_from_db()


def unzipped(client: Client, query: str = "") -> dict[str, bytes]:
    answer = client.get(reverse("export") + query)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/zip"
    assert answer["Content-Disposition"].startswith('attachment; filename="larch-row-')
    assert "private" in answer["Cache-Control"]
    with zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}
