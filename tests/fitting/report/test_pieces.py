from __future__ import annotations

from rich.padding import Padding
from rich.text import Text

from slackwater.fitting import Athlete, forecast
from slackwater.fitting.report.page.part import Table
from slackwater.fitting.report.pieces import Facts, Line, pieces
from slackwater.fitting.report.terminal.pieces import new_facts, new_table
from slackwater.fitting.report.terminal.standing import forecast as told


def test_a_text_is_its_lines_facts_and_tables_without_heading_and_bars(
    demo_athlete: Athlete,
) -> None:
    answer = forecast(demo_athlete, 3)
    first, table, days, last = pieces(told(answer))
    assert isinstance(first, Line)
    assert first.text.startswith("Back at baseline from")
    assert isinstance(table, Table)
    assert table.head == ("morning", "reading", "chance of baseline")
    assert [row[0] for row in table.rows] == ["2031-07-07", "2031-07-08", "2031-07-09"]
    assert isinstance(days, Line)
    assert isinstance(last, Line)


def test_what_leads_heads_the_table_behind_it() -> None:
    table, facts = new_table("type", "days"), new_facts()
    table.add_row(Text("row"), "2")
    facts.add_row("dip", "9 %")
    found = pieces([Text("a: b"), Text("Each:", style="bold"), Padding(table, 1), facts])
    assert found == [
        Line("Each:", leads=True), Table("Each", ("type", "days"), (("row", "2"),)),
        Facts((("dip", "9 %"),)),
    ]  # fmt: skip
