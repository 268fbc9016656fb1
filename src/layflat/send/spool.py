"""A cut program as it is sent: its bytes, its cuts, and the places where one may halt."""

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from layflat.base import InputError
from layflat.cut import Machine, SectionProgram, told_commands, told_place, told_text
from layflat.send.commands import Command, commands

MAX_BYTES = 64_000_000
_MOST_MARKS = 20
_ROUNDED = 4.0


@dataclass(frozen=True, kw_only=True)
class Span:
    """One cut in a spool: the knife is lowered, cuts, and is up again.

    Attributes:
        name: what a person calls it.
        start: offset at which the knife is lowered; before it the head stands above that place
            with the knife up, so that this is a safe point.
        stop: offset behind the last command with the knife down.
        point: where the head stands at *start*, in plotter units.
        strokes: how often the knife is lowered in it; more than once where tabs are left.
    """

    name: str
    start: int
    stop: int
    point: tuple[int, int]
    strokes: int = 1


@dataclass(frozen=True, kw_only=True)
class Spool:
    """A program of one section, ready to be sent.

    Attributes:
        name: of the file or the section.
        data: the bytes that the machine gets.
        cuts: in order; the first makes the blade's heading known, in the waste.
        heading: index of that cut.
        opening: the commands before anything moves.
        end: where the head stands at last, in plotter units.
        plain: the same program as it was before it was told in a machine's own way; None where
            that is how it stands here.
    """

    name: str
    data: bytes
    cuts: tuple[Span, ...]
    heading: int
    opening: bytes
    end: tuple[int, int]
    plain: "Spool | None" = None

    @property
    def sha256(self) -> str:
        """Of the bytes."""
        return hashlib.sha256(self.data).hexdigest()

    @property
    def safe_points(self) -> tuple[int, ...]:
        """Offsets with the knife up between two cuts, and the end."""
        return (*(cut.start for cut in self.cuts), len(self.data))


def sections_of(data: bytes, *, name: str) -> tuple[bytes, ...]:
    """The programs of the sections in a program, each whole by itself.

    A section ends with the head going to its end at the roll's edge, knife up. All count x from
    where the whole program does.

    Raises:
        InputError: it is not a whole cut program of Layflat's.
    """
    found = _checked(data, name=name)
    first = next(i for i, each in enumerate(found) if each.name in (b"PU", b"PD"))
    opening = data[: found[first].start]
    closing = data[found[-1].start :]
    parts, begin = [], first
    for i in range(first, len(found) - 1):
        point, after = found[i].last_point, found[i + 1]
        is_end = found[i].name == b"PU" and point is not None and point[1] == 0
        if is_end and i > begin and (after.name in (b"PU", b"SP")):
            parts.append(opening + data[found[begin].start : found[i].stop] + closing)
            begin = i + 1
    if begin < len(found) - 1:
        parts.append(opening + data[found[begin].start : found[-1].start] + closing)
    return tuple(parts)


def spool_of(
    data: bytes, *, name: str, cuts: Sequence[tuple[str, int]] = (), heading: int | None = None
) -> Spool:
    """The program of one section as a spool.

    Args:
        data: the program's bytes.
        name: what it is called.
        cuts: for each cut its name and how often the knife is lowered in it, if that is known;
            else every lowering is a cut.
        heading: which cut makes the blade's heading known; found by its form if nobody
            says.

    Raises:
        InputError: it is too large, cut short, foreign, or has another number of cuts.
    """
    found = _checked(data, name=name)
    strokes = _strokes(found)
    if not strokes:
        raise InputError(f"{name}: nothing is cut in it.")
    if cuts and sum(count for _, count in cuts) != len(strokes):
        raise InputError(
            f"{name}: the knife is lowered {len(strokes)} times in it, and "
            f"{sum(count for _, count in cuts)} times by its list of cuts. Make it anew."
        )
    spans, at = [], 0
    for label, count in cuts or [(f"cut {i + 1}", 1) for i in range(len(strokes))]:
        first, last = strokes[at], strokes[at + count - 1]
        spans.append(replace(first, name=label, stop=last.stop, strokes=count))
        at += count
    begin = next(each.start for each in found if each.name == b"PU")
    return Spool(
        name=name,
        data=data,
        cuts=tuple(spans),
        heading=_heading_of(found, spans) if heading is None else heading,
        opening=data[:begin],
        end=[each.last_point or (0, 0) for each in found if each.name == b"PU"][-1],
    )


def spool_of_section(section: SectionProgram, *, name: str) -> Spool:
    """The program of a section as a spool, with what its cuts are called.

    Raises:
        InputError: as for `spool_of`.
    """
    kinds = [cut.kind for cut in section.cuts]
    lowered = [cut.last - cut.first for cut in section.cuts]
    return spool_of(
        section.hpgl.encode("ascii"),
        name=name,
        cuts=list(zip(section.cut_names, lowered, strict=True)),
        heading=kinds.index("heading") if "heading" in kinds else None,
    )


def told_spool(spool: Spool, machine: Machine) -> Spool:
    """A spool as a machine is told it, by its own way of counting; itself where that is plain.

    Every cut and every safe point is where it was: between the same commands.

    Raises:
        FitError: a coordinate is greater than the machine takes.
        CheckError: what it would be told does not say the same.
    """
    text = spool.data.decode("ascii")
    told = told_text(text, machine) if spool.plain is None else text
    if told == text:
        return spool
    offsets, at = {}, 0
    for each in told_commands(text, machine):
        offsets[each.start] = at
        at += len(each.told)
    offsets[len(text)] = at
    return replace(
        spool,
        data=told.encode("ascii"),
        cuts=tuple(
            replace(
                cut,
                start=offsets[cut.start],
                stop=offsets[cut.stop],
                point=told_place(*cut.point, machine),
            )
            for cut in spool.cuts
        ),
        end=told_place(*spool.end, machine),
        plain=spool,
    )


def _checked(data: bytes, *, name: str) -> list[Command]:
    """The commands of a program that begins and ends as it must."""
    if len(data) > MAX_BYTES:
        raise InputError(f"{name} has more than {MAX_BYTES // 1_000_000} MB.")
    if not data.startswith(b"IN;PA;SP1;"):
        raise InputError(
            f"{name} is no cut program that Layflat wrote: it does not begin with IN;PA;SP1;. "
            "Only its own are sent, since only they have passed the check."
        )
    try:
        found = list(commands(data))
    except InputError as error:
        raise InputError(f"{name} is not sent: {error}.") from error
    if (found[-1].name, found[-1].rest) != (b"SP", b"0"):
        raise InputError(
            f"{name} is not whole: its last command is {found[-1].name.decode()}, not SP0. "
            "Write it anew and send that."
        )
    pens = [each for each in found if each.name == b"SP"]
    ups = [each for each in found if each.name in (b"PU", b"PD")]
    again = any(each.name in (b"IN", b"PA") for each in found[2:])
    if again or len(pens) != 2 or not ups or ups[0].name != b"PU" or ups[-1].name != b"PU":
        raise InputError(
            f"{name} is no cut program that Layflat wrote: the knife is not up at both of its "
            "ends, or it begins twice."
        )
    return found


def _strokes(found: Sequence[Command]) -> list[Span]:
    """Every lowering of the knife."""
    strokes: list[Span] = []
    down = False
    point = (0, 0)
    for each in found:
        if each.name == b"PD" and not down:
            strokes.append(Span(name="", start=each.start, stop=each.stop, point=point))
        elif each.name == b"PD":
            strokes[-1] = replace(strokes[-1], stop=each.stop)
        down = each.name == b"PD" or (down and each.name != b"PU")
        point = each.last_point or point
    return strokes


def _heading_of(found: Sequence[Command], spans: Sequence[Span]) -> int:
    """The cut that makes the heading known: the first that is bent once, with two equal legs.

    Else the first that goes anywhere. Marks may stand before it; all of these lie in the waste.
    """
    going = []
    for i, span in enumerate(spans[:_MOST_MARKS]):
        inside = [each for each in found if span.start <= each.start < span.stop]
        rest = b",".join(each.rest for each in inside if each.name == b"PD" and each.rest)
        numbers = [int(value) for value in rest.split(b",") if value]
        points = [span.point, *zip(numbers[::2], numbers[1::2], strict=True)]
        legs = [math.dist(a, b) for a, b in pairwise(points)]
        if len(legs) == 2 and legs[0] > 0 and abs(legs[0] - legs[1]) <= _ROUNDED:
            return i
        if any(legs):
            going.append(i)
    return going[0] if going else 0
