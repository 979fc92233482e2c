"""The readings that files of beats give, as terminal text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Final

from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.beats.merge import NEW, OLD_KEPT, REPLACED, SAME, Beats, NightEntry
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence, sentences
from slackwater.fitting.report.terminal.pieces import likely, new_facts, new_table
from slackwater.fitting.text import escaped, listed, plural, times
from slackwater.model.errors import Reason

_FEW: Final = 12  # nights that are shown one by one; of more, the first and the last
_SHOWN: Final = 10  # doubts
_NAMES: Final = 5
_TAKEN_OUT: Final = {
    "labelled": "labelled as no sinus beat",
    "out_of_range": "out of range",
    "jump": "over 20 % from the one before",
    "segment": "in segments left out",
}


def text(answer: Beats) -> Iterable[RenderableType]:
    """Yield the readings for the terminal."""
    yield Text(_heading(answer), style="bold")
    if len(answer.nights) == 1 and not answer.refused:
        yield from _one(answer.nights[0])
    elif answer.nights:
        yield from _many(answer.nights)
    for refused in answer.refused:
        why = sentence(refused.why) if isinstance(refused.why, Reason) else refused.why
        told = why.removeprefix(f"{refused.file}: ").removeprefix(f"{refused.file}:1:1: ")
        yield Text(escaped(f"  No reading from {refused.file}: {told.rstrip('.')}."))
    for doubt in sentences(answer.doubts)[:_SHOWN]:
        yield Text(f"  Unlikely: {doubt}")
    if answer.passed_over:
        yield Text(escaped(f"  Not taken for nights: {_some(answer.passed_over)}."))
    yield Text(f"  {_done(answer)}")
    if answer.picture is not None:
        yield Text(escaped(f"  The picture of the night is in {answer.picture}."))
    if answer.nights:
        rule = sentence(answer.nights[0].rule)
        yield Text(f"Rule: {rule}. {likely(answer.about.level)}")


def _heading(answer: Beats) -> str:
    if len(answer.nights) == 1:
        night = answer.nights[0]
        reading = words.milliseconds(night.range_ms)
        return f"Night of {words.day_name(str(night.date))} {night.date.year}: {reading}"
    return f"{plural(len(answer.nights), 'night')} of beats"


def _one(night: NightEntry) -> Iterable[RenderableType]:
    table = new_facts()
    table.add_row("RMSSD", f"{night.rmssd_ms:.1f} ms (ln {night.ln_rmssd:.3f})")
    table.add_row("known to", f"{100 * night.ln_sd:.1f} % (standard error)")
    table.add_row("beats", f"{night.beats}, {_share(night)} kept")
    out = [f"{count} {_TAKEN_OUT[why]}" for why, count in night.taken_out.items() if count]
    table.add_row("taken out", listed(out) or "none")
    if night.gaps:
        table.add_row("chain broken", times(night.gaps))
    table.add_row("hours", _hours(night))
    counted = sum(segment.counts for segment in night.segments)
    table.add_row("segments", f"{counted} of {len(night.segments)} count")
    table.add_row("read as", escaped(sentence(night.read_as)))
    yield table


def _many(nights: tuple[NightEntry, ...]) -> Iterable[RenderableType]:
    table = new_table("night", "RMSSD, ms", "beats", "kept", "known to")
    table.add_column("readings.csv")
    half = _FEW // 2
    few = nights if len(nights) <= _FEW else (*nights[:half], *nights[-half:])
    for place, night in enumerate(few):
        if len(nights) > _FEW and place == half:
            table.add_row("…")
        became = night.outcome
        if night.outcome in (REPLACED, OLD_KEPT):
            became += f" ({night.was_ms:.1f})"
        known = f"{100 * night.ln_sd:.1f} %"
        cells = (f"{night.rmssd_ms:.1f}", str(night.beats), _share(night), known, became)
        table.add_row(str(night.date), *cells)
    yield table


def _done(answer: Beats) -> str:
    of = Counter(night.outcome for night in answer.nights)
    entered = plural(of[NEW] + of[REPLACED], "reading")
    if not of[NEW] + of[REPLACED]:
        parts = ["Entered nothing."]
    elif answer.written:
        parts = [f"Entered {entered} into readings.csv."]
    else:
        parts = [f"Entered nothing; {entered} would be."]
    if of[REPLACED]:
        parts.append(f"{'Replaced' if answer.written else 'To be replaced'}: {of[REPLACED]}.")
    if of[SAME]:
        parts.append(f"There already: {of[SAME]}.")
    if of[OLD_KEPT]:
        old = [night for night in answer.nights if night.outcome == OLD_KEPT]
        shown = [f"{night.date} ({night.was_ms:.1f} ms)" for night in old]
        parts.append(f"Left alone, as another reading stands there: {_some(shown)}.")
    return " ".join(parts)


def _share(night: NightEntry) -> str:
    """Return the share kept, never rounded up to all."""
    percent = 100 * night.kept_share
    return f"{percent:.1f} %" if percent == 100 or percent < 99.95 else "99.9 %"


def _hours(night: NightEntry) -> str:
    length = night.to_hours - night.from_hours
    if night.starts is None:
        return f"{length:.1f} ({night.from_hours:.1f} to {night.to_hours:.1f} from the start)"
    return f"{length:.1f} ({night.clock(night.from_hours)} to {night.clock(night.to_hours)})"


def _some(names: Iterable[str]) -> str:
    every = [*names]
    more = len(every) - _NAMES
    return listed([*every[:_NAMES], f"{more} more"] if more > 0 else every)
