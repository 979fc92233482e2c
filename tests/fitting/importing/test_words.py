"""The words that mean a column or a month are unmistakable."""

from __future__ import annotations

from collections import defaultdict
from itertools import combinations

import pytest
from babel.dates import get_month_names

from slackwater.fitting.importing.words import (
    FLAGS,
    HEADERS,
    LIKELY_RMSSD,
    MONTHS,
    NO,
    NO_READING,
    RMSSD,
    YES,
    folded,
)

LANGUAGES = ("en", "de", "fr", "es", "it", "nl", "pt", "sv", "da", "nb")


def test_no_header_means_two_things() -> None:
    meanings = [*HEADERS.values(), LIKELY_RMSSD]
    for one, other in combinations(meanings, 2):
        assert not one & other
    assert not FLAGS["stressor"] & FLAGS["intervention"]
    assert not YES & NO


def test_months_are_those_of_cldr_and_none_is_another_month_elsewhere() -> None:
    """Source: Unicode CLDR, as Babel carries it."""
    by_name: defaultdict[str, set[int]] = defaultdict(set)
    for language in LANGUAGES:
        for context in ("format", "stand-alone"):
            for width in ("wide", "abbreviated"):
                for number, name in get_month_names(width, context, language).items():
                    by_name[folded(name)].add(number)
    assert {name: {MONTHS.get(name)} for name in by_name} == by_name


@pytest.mark.parametrize(
    "header", ["RMSSD", "rMSSD (ms)", "lnRMSSD", "ln_rmssd", "Night RMSSD", "R-MSSD"]
)
def test_rmssd_is_known_however_it_is_written(header: str) -> None:
    assert RMSSD.search(folded(header))


@pytest.mark.parametrize(
    "header", ["SDNN", "HRV score", "7 day average RMSSD", "HRV baseline", "pNN50", "LF"]
)
def test_other_statistics_are_no_reading(header: str) -> None:
    assert NO_READING.search(folded(header))


@pytest.mark.parametrize(
    ("text", "plain"),
    [("Séance", "seance"), ("HRV_ms!", "hrv ms"), ("Träning", "traning"), (" Søvn ", "sovn")],
)
def test_words_are_folded(text: str, plain: str) -> None:
    assert folded(text) == plain
