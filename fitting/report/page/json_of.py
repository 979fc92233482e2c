"""All answers that the page is made from, as one JSON object."""

from __future__ import annotations

import json

from slackwater.fitting.report.as_json import as_object
from slackwater.fitting.report.everything import Everything


def page_json(asked: Everything) -> str:
    """Return all answers that the page is made from as the text of one JSON object."""
    facts = asked.answers["baseline"].attrs
    shared = ("schema", "season", "last_night", "level", "warnings")
    told = {
        **{key: facts[key] for key in shared},
        "answers": {question: as_object(answer) for question, answer in asked.answers.items()},
        "refused": asked.refused,
    }
    return json.dumps(told, indent=2, allow_nan=False)
