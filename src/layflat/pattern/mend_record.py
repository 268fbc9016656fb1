"""What was mended in a drawing, and what a person is asked before it is used.

Words: a *mending* is said and done; a *question* is asked because two readings of the drawing are
possible. Each question has a default, which is the likelier reading, but nobody's film is cut by a
default: a drawing counts as read once every question has its answer.
"""

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from layflat.base import DrawingError, FloatArray, SettingError, counted

_MOST_QUESTIONS = 40
_MOST_ALIKE = 40
"""Mendings of one kind that a person is told one by one."""
_SUMMED = {
    "gap": ("more gap was closed", "more gaps were closed", "wider"),
    "dust": ("more stray line was left out", "more stray lines were left out", "larger"),
    "stray": (
        "more line that leads nowhere was left out",
        "more lines that lead nowhere were left out",
        "longer",
    ),
}
"""What is said of the others: of one, of several, and what none of them is."""

ALL_DEFAULT = ("all", "default")
"""The answer that takes the default of every question."""

REFUSE = "refuse"
"""The choice that gives the drawing back to whoever drew it."""


@dataclass(frozen=True)
class Mending:
    """One thing that was mended, or left out, in a drawing.

    Attributes:
        kind: a short name: gap, doubled, dust, no-length, hidden, height, block, file …
        sentence: what, where and how much, for a person.
        place_mm: x and y of the first place in mm; None if it has none.
        measure_mm: the size of what was mended in mm; None if it has none.
    """

    kind: str
    sentence: str
    place_mm: tuple[float, float] | None = None
    measure_mm: float | None = None


@dataclass(frozen=True)
class Choice:
    """One answer to a question.

    Attributes:
        name: what is typed or sent.
        sentence: what then happens.
    """

    name: str
    sentence: str


@dataclass(frozen=True)
class Question:
    """What a drawing leaves open.

    Attributes:
        id: the kind and the place, in the file's own numbers: the same at every reading.
        kind: unit, gap, open, stray, double, hidden, clip, height, small …
        sentence: what is unsure, and where.
        choices: what may be answered.
        default: the name of the likelier choice.
        place_mm: x and y in mm; None if it is about the whole drawing.
        answer: what was answered, or None.
    """

    id: str
    kind: str
    sentence: str
    choices: tuple[Choice, ...]
    default: str
    place_mm: tuple[float, float] | None = None
    answer: str | None = None


def were(count: int, one: str, *, but: str = "", done: str = "left out", at: str = "") -> str:
    """What became of several: “2 stray lines of 1 mm were left out, the first at 3, 4”.

    Args:
        count: how many; 1 or more.
        one: the word for one of them, which takes an s.
        but: what tells them from others, “of 1 mm”.
        done: what became of them.
        at: where the first of them lies; "" for none.
    """
    verb = "was" if count == 1 else "were"
    where = at and (f", at {at}" if count == 1 else f", the first at {at}")
    return f"{counted(count, one)} {but} {verb} {done}{where}".replace("  ", " ")


class OpenQuestionsError(DrawingError):
    """A drawing leaves questions open; they must be answered before it is used.

    Attributes:
        questions: those without an answer.
    """

    def __init__(self, where: str, questions: tuple[Question, ...]) -> None:
        first = questions[0]
        names = " or ".join(f"{first.id}={choice.name}" for choice in first.choices)
        more = f" It leaves {len(questions) - 1} more open." if len(questions) > 1 else ""
        super().__init__(f"{where}: {first.sentence} Answer {names}.{more}")
        self.questions = questions


@dataclass
class Findings:
    """Gathers mendings and questions while a drawing is read, and hands out the answers.

    Attributes:
        where: the file's name, for messages.
        answers: by the question's id.
        unit_mm: mm per unit of the drawing; ids are in the drawing's own numbers.
        mended, questions: what was found so far.
        notes: sentences on what was read as it stands, but by an assumption.
    """

    where: str
    answers: Mapping[str, str] = field(default_factory=dict)
    unit_mm: float = 1.0
    mended: list[Mending] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def told(self) -> tuple[Mending, ...]:
        """What was mended, as a person is told it: of very many alike the widest, and how many."""
        alike = Counter(item.kind for item in self.mended)
        told = list(self.mended)
        for kind in [kind for kind, count in alike.items() if count > _MOST_ALIKE]:
            order = sorted(
                (item for item in self.mended if item.kind == kind),
                key=lambda item: -(item.measure_mm or 0.0),
            )
            rest = order[_MOST_ALIKE:]
            kept = set(map(id, order[:_MOST_ALIKE]))
            told = [item for item in told if item.kind != kind or id(item) in kept]
            told.append(_others(rest))
        return tuple(told)

    def mend(
        self,
        kind: str,
        sentence: str,
        *,
        at: FloatArray | None = None,
        measure_mm: float | None = None,
    ) -> None:
        """Record a mending."""
        self.mended.append(Mending(kind, sentence, _place(at), measure_mm))

    def ask(
        self,
        kind: str,
        sentence: str,
        choices: Mapping[str, str],
        *,
        default: str,
        at: FloatArray | None = None,
        about: str = "",
    ) -> str:
        """The answer to a question, or its default while it has none.

        Args:
            kind, sentence, default: see `Question`.
            choices: what each answer does, by its name.
            at: (2,) the place in mm, part of the question's id.
            about: what else tells it from others of its kind, e.g. a layer.

        Raises:
            SettingError: the answer is none of the choices.
            DrawingError: there are too many questions, or the answer refuses the drawing.
        """
        name = self._id(kind, about, at)
        if len(self.questions) >= _MOST_QUESTIONS:
            # Nobody answers so many: it is refused, not asked.
            self.questions.clear()
            raise DrawingError(
                f"{self.where} is unsure in more than {_MOST_QUESTIONS} places, the last one: "
                f"{sentence} Mend it in the program that drew it."
            )
        given = self.answers.get(name)
        if given is None and self.answers.get(ALL_DEFAULT[0]) == ALL_DEFAULT[1]:
            given = default
        if given is not None and given not in choices:
            raise SettingError(
                f"{self.where}: “{given}” is no answer to {name}; answer {' or '.join(choices)}."
            )
        listed = tuple(Choice(*item) for item in choices.items())
        self.questions.append(Question(name, kind, sentence, listed, default, _place(at), given))
        if given == REFUSE:
            raise DrawingError(f"{self.where} was refused by the answer to {name}: {sentence}")
        return given if given is not None else default

    @property
    def unused_answers(self) -> tuple[str, ...]:
        """Answers to questions that the drawing does not ask."""
        known = {question.id for question in self.questions} | {ALL_DEFAULT[0]}
        return tuple(sorted(set(self.answers) - known))

    @property
    def open_questions(self) -> tuple[Question, ...]:
        """The questions that nobody has answered."""
        return tuple(question for question in self.questions if question.answer is None)

    def _id(self, kind: str, about: str, at: FloatArray | None) -> str:
        words = kind + (f":{about}" if about else "")
        if at is not None:
            x, y = np.asarray(at, dtype=np.float64) / self.unit_mm
            digits = max(0, math.ceil(math.log10(self.unit_mm) - 1e-9))
            numbers = (round(float(value), digits) + 0.0 for value in (x, y))
            words += "@" + ",".join(f"{value:.{digits}f}" for value in numbers)
        taken = {question.id for question in self.questions}
        name, number = words, 1
        while name in taken:
            number += 1
            name = f"{words}.{number}"
        return name


def _others(rest: list[Mending]) -> Mending:
    """What stands for mendings that are not told one by one."""
    first = rest[0]
    of_kind = f"of the kind “{first.kind}”"
    usual = (f"more fault {of_kind} was mended", f"more faults {of_kind} were mended", "larger")
    one, more, wider = _SUMMED.get(first.kind, usual)
    size = "" if first.measure_mm is None else f", none {wider} than {first.measure_mm:.3g} mm"
    sentence = f"{counted(len(rest), one, more)}{size}."
    return Mending(first.kind, sentence, first.place_mm, first.measure_mm)


def _place(at: FloatArray | None) -> tuple[float, float] | None:
    return None if at is None else (float(at[0]), float(at[1]))
