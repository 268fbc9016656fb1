"""An address as a QR code (ISO/IEC 18004), for phones."""

import io

import segno


def qr_svg(address: str) -> str:
    """A QR code as SVG, black on white with the quiet zone of four modules that readers need.

    Error correction of level M: 15 % of it may be dirty.
    """
    out = io.BytesIO()
    segno.make(address, error="m", micro=False, boost_error=False).save(
        out, kind="svg", border=4, scale=4, xmldecl=False, light="#ffffff", omitsize=False
    )
    return out.getvalue().decode("ascii")
