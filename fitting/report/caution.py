"""The caution that stands beside every answer."""

from typing import Final

CAUTION: Final = (
    "This describes past readings and is no diagnosis. How you feel and licensed medical or "
    "coaching practice come first. Fever, chest pain, fainting or a long drop without a known "
    "cause mean rest and a physician, whatever the numbers say."
)
