"""Panels in and out of a file: Layflat's own JSON, in millimetres, free of mesh numbers."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from layflat.base import SettingError, Settings, read_bytes
from layflat.surface.panel import BodyInfo, Edge, EdgeKind, KeepOut, KeepOutKind, Panel

_FORM = "layflat panels"
_VERSION = 1
_MOST_NAME = 60
_NOT_IN_NAMES = frozenset('/\\:*?"<>|')
"""What some system does not take in the name of a file; files are called by panels."""
_MAX_BYTES = 50_000_000
_FAR_MM = 30_000.0


def panels_json(body: BodyInfo) -> str:
    """The panels of *body* as JSON text; `read_panels` reads it again to the last digit."""
    document = {
        "form": _FORM,
        "version": _VERSION,
        "unit": "mm",
        "body": body.name,
        "forward": list(body.forward),
        "up": list(body.up),
        "panels": [_panel_out(panel) for panel in body.panels],
    }
    return json.dumps(document, ensure_ascii=False, indent=1) + "\n"


def _panel_out(panel: Panel) -> dict[str, Any]:
    return {
        "name": panel.name,
        "outline": [_edge_out(edge) for edge in panel.outline],
        "openings": [{"outline": [_edge_out(edge) for edge in loop]} for loop in panel.openings],
        "keep_outs": [
            {
                "name": item.name,
                "kind": item.kind.value,
                "clearance_mm": item.clearance_mm,
                "points_mm": item.points_mm.tolist(),
            }
            for item in panel.keep_outs
        ],
    }


def _edge_out(edge: Edge) -> dict[str, Any]:
    return {"name": edge.name, "kind": edge.kind.value, "points_mm": edge.points_mm.tolist()}


def read_panels(path: Path) -> BodyInfo:
    """The panels in the file at *path*.

    Raises:
        SettingError: it is not such a file, or a value in it is missing or wrong.
        InputError: it cannot be read.
    """
    data = read_bytes(path, max_bytes=_MAX_BYTES)
    try:
        document = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise SettingError(f"{path} is not a JSON file.") from error
    if not isinstance(document, Mapping) or document.get("form") != _FORM:
        raise SettingError(f"{path} is not a file of Layflat panels.")
    top = Settings(document, where=path.name)
    top.text("form")
    top.integer("version", least=_VERSION, most=_VERSION)
    top.choice("unit", ("mm",))
    body = BodyInfo(
        name=top.text("body"),
        forward=_vector(top, "forward"),
        up=_vector(top, "up"),
        panels=tuple(_panel_in(table) for table in top.tables("panels")),
    )
    top.finish()
    names = [panel.name for panel in body.panels]
    folded = [name.casefold() for name in names]
    if len(set(folded)) < len(names):
        twice = next(name for name in names if folded.count(name.casefold()) > 1)
        raise SettingError(f"{path.name}: there are two panels called “{twice}”.")
    return body


def _vector(table: Settings, key: str) -> tuple[float, float, float]:
    values = table.numbers(key, least=-1, most=1)
    if len(values) != 3:
        raise SettingError(f"{table.where}: “{key}” must have three components.")
    return values[0], values[1], values[2]


def _file_name(table: Settings) -> str:
    name = table.text("name", most=_MOST_NAME)
    if not name.isprintable() or _NOT_IN_NAMES & set(name) or name != name.strip(" ."):
        raise SettingError(
            f"{table.where}: “name” is {name!r}, and files are called by it; use letters, digits "
            "and hyphens."
        )
    return name


def _panel_in(table: Settings) -> Panel:
    panel = Panel(
        name=_file_name(table),
        outline=_loop_in(table),
        openings=tuple(_opening_in(opening) for opening in table.tables("openings", optional=True)),
        keep_outs=tuple(_keep_out_in(item) for item in table.tables("keep_outs", optional=True)),
    )
    table.finish()
    return panel


def _opening_in(table: Settings) -> tuple[Edge, ...]:
    loop = _loop_in(table)
    table.finish()
    return loop


def _loop_in(table: Settings) -> tuple[Edge, ...]:
    edges = []
    for item in table.tables("outline"):
        kind = EdgeKind(item.choice("kind", tuple(EdgeKind)))
        name = item.text("name", least=0)
        edges.append(Edge(kind, _points(item, least=1), name))
        item.finish()
    if not edges:
        raise SettingError(f"{table.where}: the outline has no edges.")
    return tuple(edges)


def _keep_out_in(table: Settings) -> KeepOut:
    item = KeepOut(
        kind=KeepOutKind(table.choice("kind", tuple(KeepOutKind))),
        points_mm=_points(table, least=3),
        name=table.text("name", least=0),
        clearance_mm=table.number("clearance_mm", least=0, most=100),
    )
    table.finish()
    return item


def _points(table: Settings, *, least: int) -> Any:
    rows = table.lists("points_mm", least=-_FAR_MM, most=_FAR_MM)
    if len(rows) < least or any(len(row) != 3 for row in rows):
        raise SettingError(
            f"{table.where}: “points_mm” must have {least} or more points [x, y, z]."
        )
    return rows
