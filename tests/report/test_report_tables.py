"""CSV tables: what a spreadsheet opens."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.report.report import Report
from flatscan.report.tables.tables import areas_csv, findings_csv, gaps_csv, safe_text


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_gaps_come_back_as_they_were_measured(report: Report) -> None:
    read = rows(gaps_csv(report))
    assert len(read) == len(report.measurement.gaps)
    for row, spot in zip(read, report.measurement.gaps, strict=True):
        assert float(row["gap_mm"]) == pytest.approx(spot.gap.value, abs=0.0005)
        assert float(row["u_mm"]) == pytest.approx(spot.gap.u, abs=0.0005)
        assert float(row["contact2_y_mm"]) == pytest.approx(spot.contacts[1][1], abs=0.05)
        assert float(row["edge_mm"]) == spot.edge_mm


def test_letters_are_those_of_the_map_worst_verdict_first(report: Report) -> None:
    lettered = [(row["letter"], float(row["gap_mm"])) for row in rows(gaps_csv(report)) if row["letter"]]
    assert [letter for letter, _ in lettered] == ["A", "B", "C"]
    assert lettered[0][1] == max(gap for _, gap in lettered)


def test_findings_keep_an_empty_value_for_what_was_not_seen(report: Report) -> None:
    unseen = rows(findings_csv(report))[-1]
    assert unseen["verdict"] == "not_seen"
    assert unseen["value"] == unseen["chance_over"] == unseen["x_mm"] == ""


def test_areas_lie_in_their_box(report: Report) -> None:
    for row, area in zip(rows(areas_csv(report.plan)), report.plan.areas, strict=True):
        assert int(row["number"]) == area.number
        points = [tuple(map(float, pair.split())) for pair in row["outline_xy_mm"].split("; ")]
        assert len(points) == len(area.rings[0])
        assert float(row["x_from_mm"]) - 0.6 <= min(x for x, _ in points)
        assert float(row["y_to_mm"]) + 0.6 >= max(y for _, y in points)


@pytest.mark.parametrize("table", [gaps_csv, findings_csv, lambda report: areas_csv(report.plan)])
def test_each_length_says_its_unit_in_the_header(report: Report, table: Callable[[Report], str]) -> None:
    header = table(report).splitlines()[0].split(",")
    lengths = [name for name in header if re.search(r"gap|edge|limit(?!_id)|span|raw|mean|max|x_|y_", name)]
    assert lengths
    assert all(name.endswith(("_mm", "_m2")) for name in lengths)


def test_no_cell_of_a_hostile_report_is_a_formula(hostile: Report) -> None:
    area = replace(hostile.plan.areas[0], action="+HYPERLINK(1)")
    spoilt = replace(hostile, plan=replace(hostile.plan, areas=(area,)))
    for table in (gaps_csv(spoilt), findings_csv(spoilt), areas_csv(spoilt.plan)):
        for row in csv.reader(io.StringIO(table)):
            for cell in row:
                number = re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", cell)
                assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


@given(st.text(max_size=20))
def test_safe_text_never_starts_a_formula_and_keeps_the_rest(text: str) -> None:
    safe = safe_text(text)
    assert safe in {text, "'" + text}
    assert not safe.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r"))
