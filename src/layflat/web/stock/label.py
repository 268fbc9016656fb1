"""The label of a roll or offcut."""

from layflat.papers import Head, LengthUnit, Paper, RollLabel, roll_label
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_day, shown_length
from layflat.web.stock.amounts import film_length
from layflat.web.stock.faults import places_of
from layflat.web.stock.models import Roll


def label_pdf(roll: Roll, shop: Shop, *, address: str) -> bytes:
    """A label to be printed on plain paper and stuck on, as a PDF.

    Args:
        roll: or offcut; its length is that of now.
        shop: whose it is.
        address: that the QR code leads to.

    Raises:
        CheckError: the sheet could not be set.
    """
    day, is_offcut = shown_day(roll.received_on, shop), roll.cut_from_id is not None
    wide = f"{shown_length(roll.width_mm, shop)} wide"
    return roll_label(
        RollLabel(
            head=Head(
                workshop=shop.name,
                job="none: stock",
                number="",
                vehicle=f"{roll.film}, lot {roll.lot}",
                dated=roll.received_on,
                paper=Paper.LETTER if shop.inches else Paper.A4,
                unit=LengthUnit.INCH if shop.inches else LengthUnit.MM,
            ),
            roll=str(roll),
            film=roll.film,
            lot=roll.lot,
            # What is left of a roll changes with every section, so only an offcut says it.
            size=f"{wide}, {film_length(roll.left_mm, shop)} long" if is_offcut else wide,
            place=roll.place,
            origin=f"Cut from {roll.cut_from} on {day}" if roll.cut_from else f"Came on {day}",
            is_offcut=is_offcut,
            faults=tuple(one.shown(shop) for one in places_of(roll)) if is_offcut else (),
            address=address,
        )
    )
