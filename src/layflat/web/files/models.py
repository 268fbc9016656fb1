"""Files that the app keeps."""

from django.conf import settings
from django.db import models


class StoredFile(models.Model):
    """One content that is kept; the same content is kept once.

    Attributes:
        sha256: of its bytes, in hexadecimal; also its place in the data folder.
        size: in bytes.
        media_type: as found by looking at it, never as claimed.
        name: of the first upload, for people.
        added_at, added_by: the first upload.
    """

    sha256 = models.CharField(max_length=64, unique=True)
    size = models.BigIntegerField()
    media_type = models.CharField(max_length=80)
    name = models.CharField(max_length=200)
    added_at = models.DateTimeField(auto_now_add=True)
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)

    def __str__(self) -> str:
        return self.name
