"""Lines that a drawing holds but does not show: left out and said, or asked about."""

from collections import defaultdict
from dataclasses import dataclass, field

from layflat.base import counted
from layflat.pattern.drawing import Layer, Text
from layflat.pattern.loops import Stroke, place_of
from layflat.pattern.mend_record import Findings, were
from layflat.pattern.sketch import Sketch


@dataclass
class Hidden:
    """What is not shown, with its layer, by why: "layer GRID, which is frozen".

    Attributes:
        strokes, texts: with the layer that each stands on.
    """

    strokes: defaultdict[str, list[tuple[str, Stroke]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    texts: defaultdict[str, list[tuple[str, Text]]] = field(
        default_factory=lambda: defaultdict(list)
    )

    def settle(self, sketch: Sketch, findings: Findings) -> None:
        """Ask about lines that could be pieces, and say what was left out."""
        known = set(Layer)
        on_layers = bool(sketch.strokes.get(Layer.OUTLINE)) or any(
            layer.upper() == Layer.OUTLINE
            for several in self.strokes.values()
            for layer, _ in several
        )
        for why, strokes in self.strokes.items():
            layer, first = strokes[0]
            at = first.points_mm[0]
            matters = any(name.upper() in known for name, _ in strokes) or not on_layers
            answer = "leave-out"
            if matters and "never" not in why:
                where = "at" if len(strokes) == 1 else "the first at"
                answer = findings.ask(
                    "hidden",
                    f"{counted(len(strokes), 'line is', 'lines are')} not shown, {where} "
                    f"{place_of(at)}: {why}.",
                    {
                        "leave-out": "They are left out.",
                        "take": "They are read like those that are shown.",
                    },
                    default="leave-out",
                    about=layer,
                )
            if answer == "take":
                for name, stroke in strokes:
                    sketch.add(name, stroke)
                sketch.texts += [text for _, text in self.texts.get(why, [])]
            done = "read all the same" if answer == "take" else "left out"
            said = were(len(strokes), "hidden line", done=done)
            findings.mend("hidden", f"{said}: {why}.", at=at)
