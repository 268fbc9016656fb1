"""What the engine reported, confirmed by independent geometry and moved together."""

from layflat.nest.check import TOLERANCE_MM, too_near
from layflat.nest.pack import Pack, pack_found
from layflat.nest.parts import Frame
from layflat.nest.push import pushed
from layflat.nest.race import Outcome
from layflat.nest.squeeze import squeezed

_CLOSER_S = 1.0


def is_sound(pack: Pack, frame: Frame) -> bool:
    """Whether the pieces of a pack lie within the usable width and a gap apart."""
    boxes = [spot.box() for spot in pack.spots]
    low, high = min(box[1] for box in boxes), max(box[3] for box in boxes)
    if low < -TOLERANCE_MM or high > frame.usable_mm + TOLERANCE_MM:
        return False
    return not too_near(pack.patterns(), gap_mm=frame.gap_mm)


def closer(pack: Pack, frame: Frame) -> Pack:
    """The pack with its pieces moved together, as far as independent geometry confirms it."""
    tight = pushed(squeezed(pack, frame, seconds=_CLOSER_S), gap_mm=frame.gap_mm)
    if tight.length_mm <= pack.length_mm and is_sound(tight, frame):
        return tight
    tight = pushed(pack, gap_mm=frame.gap_mm)
    return tight if is_sound(tight, frame) else pack


def last_sound(outcome: Outcome, frame: Frame, *, most: int) -> tuple[list[Pack], bool]:
    """Of a run's last layouts those that are sound, at most so many; whether one was refused."""
    sound: list[Pack] = []
    was_refused = False
    for found in reversed(outcome.found):
        if len(sound) >= most:
            break
        pack = pack_found(found, outcome.task)
        if pack is not None and is_sound(pack, frame):
            sound.append(pack)
        else:
            was_refused = True
    return sound, was_refused
