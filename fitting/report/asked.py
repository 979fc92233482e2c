"""All answers that a report is made from, by the question that each answers."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from slackwater.fitting.answers.answer import Answer
from slackwater.fitting.report.objects import about_object, as_object, plain
from slackwater.fitting.report.reasons import told
from slackwater.model.errors import NoAnswerError, Reason


@dataclass(frozen=True)
class Asked:
    """Answers and refusals; a question is in one of the two.

    Questions asked more than once end in what they are asked about: "forecast with hill run",
    "compare intervention river dip".

    Attributes:
        answers: the answers.
        refused: why there is none.
    """

    answers: dict[str, Any] = field(default_factory=dict)
    refused: dict[str, NoAnswerError] = field(default_factory=dict)

    def ask(self, question: str, how: Callable[[], Answer]) -> None:
        """Keep the answer to a question, or why there is none."""
        try:
            self.answers[question] = how()
        except NoAnswerError as error:
            self.refused[question] = error

    def about(self, prefix: str) -> dict[str, Any]:
        """Return the answers to a question asked more than once, by what is asked about."""
        return {q.removeprefix(prefix): a for q, a in self.answers.items() if q.startswith(prefix)}

    def refused_about(self, prefix: str) -> dict[str, str]:
        """Return, in words, why such questions have no answer, by what is asked about."""
        return {
            q.removeprefix(prefix): told(e) for q, e in self.refused.items() if q.startswith(prefix)
        }


def asked_json(asked: Asked) -> str:
    """Return all answers of a report as the text of one JSON object."""
    return json.dumps(
        {
            **about_object(asked.answers["baseline"].about),
            "answers": {question: as_object(answer) for question, answer in asked.answers.items()},
            "refused": {question: told(error) for question, error in asked.refused.items()},
            "refused_for": {q: _codes(e.reasons) for q, e in asked.refused.items()},
        },
        indent=2,
        allow_nan=False,
    )


def _codes(reasons: Sequence[Reason]) -> list[dict[str, Any]]:
    return [{"code": reason.code, **plain(reason.facts)} for reason in reasons]
