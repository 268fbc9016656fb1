"""The invented workshop: two bodies of an invented maker, scans of them, and two jobs."""

from layflat.demo.body import Design, Patch, body_mesh
from layflat.demo.coupe_panels import coupe_design
from layflat.demo.run import run_demo
from layflat.demo.scan import ScanLike, scan_like
from layflat.demo.van_panels import van_design
from layflat.demo.workshop import Workshop, designs, sliding_door_line, write_workshop

__all__ = [
    "Design",
    "Patch",
    "ScanLike",
    "Workshop",
    "body_mesh",
    "coupe_design",
    "designs",
    "run_demo",
    "scan_like",
    "sliding_door_line",
    "van_design",
    "write_workshop",
]
