"""The five questions of a parameter's page, and what an answer is made of."""

from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup

from sitegen.render.pieces import Text

Question = Literal["good", "sure", "spread", "measurement", "dies"]
QUESTIONS: dict[Question, str] = {
    "good": "Is it good enough?",
    "sure": "How sure is that?",
    "spread": "Where does the spread come from?",
    "measurement": "Is it the wafer or the measurement?",
    "dies": "Which dies, and why?",
}
"""In the order in which they are answered; also the ids of their sections."""
NOT_STATED = "Not stated"
NOT_COMPUTED = "no statistics were computed"


@dataclass(frozen=True, slots=True)
class Answer:
    """One question with its answer for one condition."""

    question: str
    href: str
    """Section with the tables behind it."""
    number: Text
    """The one number that matters, or a word where there is none; the text goes on from it."""
    text: Markup
    drawing: Markup
    """A small drawing, inline; empty where there is nothing to draw."""


def answer(question: Question, number: Text, text: Markup, drawing: Markup | None = None) -> Answer:
    """An answer to one of the five questions."""
    return Answer(QUESTIONS[question], f"#{question}", number, text, drawing or Markup(""))
