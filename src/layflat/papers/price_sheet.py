"""The price sheet for the customer."""

from dataclasses import dataclass
from decimal import Decimal

from layflat.papers.cautions import CUSTOMER
from layflat.papers.engine import Document
from layflat.papers.head import Head, all_written, sheet_values
from layflat.papers.lettering import one_line

_NO_BREAK = "\u00a0"
_ASSUMED = (
    "Assumed: estimated from the sizes of the pieces and not from this workshop's own record of "
    "time."
)


@dataclass(frozen=True, kw_only=True)
class PriceRow:
    """One line of the price.

    Attributes:
        text: what it is for.
        quantity: how much, with its unit, e.g. "7.35 m"; "" for a lump.
        rate: per unit, with it, e.g. "42.50 per m"; "" for a lump.
        amount: without tax.
        assumed: whether the quantity is an assumption; the sheet says so.
    """

    text: str
    quantity: str
    rate: str
    amount: Decimal
    assumed: bool = False


@dataclass(frozen=True, kw_only=True)
class PriceSheet:
    """A price, as it goes to the customer.

    Attributes:
        head: what stands on every sheet.
        currency: as it is written over the amounts.
        rows: the lines.
        net, tax, gross: the sums.
        tax_rate: as a fraction.
        covered: what is covered: a panel's name with a sentence.
        free: what stays free of film: a panel's name with what it is there.
        notes: how numbers were rounded, which are assumptions.
        cautions: further points beside the usual ones.
    """

    head: Head
    currency: str
    rows: tuple[PriceRow, ...]
    net: Decimal
    tax: Decimal
    gross: Decimal
    tax_rate: Decimal
    covered: tuple[tuple[str, str], ...] = ()
    free: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def price_sheet(sheet: PriceSheet) -> bytes:
    """The price sheet as a PDF.

    Raises:
        CheckError: the sheet could not be set.
    """
    return price_document(sheet).pdf()


def price_document(sheet: PriceSheet) -> Document:
    """The price sheet before it is set."""
    head = sheet.head
    texts = {
        "job": one_line(head.job, most=140),
        "for_whom": f"For {head.customer}, {head.vehicle}" if head.customer else head.vehicle,
        "currency": sheet.currency,
        "lines": [
            {
                "text": row.text,
                "quantity": row.quantity,
                "rate": row.rate,
                "amount": money(row.amount),
                "assumed": row.assumed,
            }
            for row in sheet.rows
        ],
        "net": money(sheet.net),
        "tax_name": f"Tax, {(100 * sheet.tax_rate).normalize():f} %",
        "tax": money(sheet.tax),
        "gross": f"{sheet.currency} {money(sheet.gross)}",
        "covered": list(sheet.covered),
        "free": list(sheet.free),
        "assumed": _ASSUMED if any(row.assumed for row in sheet.rows) else "",
        "notes": list(sheet.notes),
        "cautions": [*sheet.cautions, *CUSTOMER],
    }
    values = {
        **sheet_values(head, sheet="Price", title=f"Price: {head.job}"),
        **all_written(texts),
    }
    return Document(template="price.typ", values=values, pictures={}, dated=head.dated)


def money(amount: Decimal) -> str:
    """An amount with its thousands apart: 1 234.50."""
    return f"{amount:,f}".replace(",", _NO_BREAK)


def grouped(amount: str) -> str:
    """An amount that is written as "1234.50", with its thousands apart."""
    return money(Decimal(amount))
