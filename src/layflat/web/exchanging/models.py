"""Archives that came, and whose keys are known."""

from django.conf import settings
from django.db import models

from layflat.exchange import fingerprint
from layflat.web.bodies.models import Body
from layflat.web.files.models import StoredFile


class KnownKey(models.Model):
    """A key of which somebody here made sure whose it is.

    Attributes:
        key: the public key, 64 digits in hexadecimal.
        shop: whose it is, in this shop's own words.
    """

    key = models.CharField(max_length=64, unique=True)
    shop = models.CharField(max_length=120)
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """By name."""

        ordering = ("shop", "id")

    def __str__(self) -> str:
        return self.shop

    @property
    def fingerprint(self) -> str:
        """What people compare."""
        return fingerprint(bytes.fromhex(self.key))


class Received(models.Model):
    """An archive that came, whole and signed; what of it was kept, the record says.

    Attributes:
        archive: the file.
        vehicle: whose shapes it holds, as the giver calls it.
        shop, key: who signed, and by which key, in hexadecimal.
        body: the body that something of it was kept for; None before.
    """

    archive = models.OneToOneField(StoredFile, on_delete=models.PROTECT, related_name="+")
    vehicle = models.CharField(max_length=200)
    shop = models.CharField(max_length=120)
    key = models.CharField(max_length=64)
    body = models.ForeignKey(Body, null=True, on_delete=models.PROTECT, related_name="archives")
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    received_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """The newest first."""

        ordering = ("-id",)

    def __str__(self) -> str:
        return f"{self.vehicle} from {self.shop}"

    @property
    def fingerprint(self) -> str:
        """Of the key that signed it."""
        return fingerprint(bytes.fromhex(self.key))
