"""Make the pictures of the README: the invented coupe's layout, as SVG.

Run from the repository: ``.venv/bin/python docs/pictures.py``. The layout search is bounded by
time, so that the layout differs a little from run to run.
"""

import tempfile
from dataclasses import replace
from pathlib import Path

from layflat.base import write_text
from layflat.demo import write_workshop
from layflat.job import read_order, run_job
from layflat.papers import layout_picture

PICTURES = Path(__file__).parent / "pictures"


def main() -> None:
    """Run the coupe's job and draw its layout."""
    with tempfile.TemporaryDirectory() as folder:
        workshop = write_workshop(Path(folder))
        order = next(item for item in map(read_order, workshop.jobs) if "coupe" in item.vehicle)
        layout = replace(order.layout, seconds=30.0)
        result = run_job(replace(order, layout=layout))
    PICTURES.mkdir(exist_ok=True)
    write_text(PICTURES / "layout.svg", layout_picture(result.layout, width_mm=240, height_mm=120))


if __name__ == "__main__":
    main()
