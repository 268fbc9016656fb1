"""Archives of a body of the library, as rows and as uploads."""

import io

from django.core.files.uploadedfile import SimpleUploadedFile

from layflat.web.bodies.models import Body
from layflat.web.exchanging.giving import packed
from layflat.web.exchanging.models import Received
from layflat.web.exchanging.receiving import bring


def bytes_of(body: Body) -> bytes:
    file = io.BytesIO()
    packed(body).copy_to(file)
    return file.getvalue()


def uploaded(data: bytes, name: str = "archive.zip") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, "application/zip")


def an_archive(body: Body) -> Received:
    return bring(uploaded(bytes_of(body)), who=None)
