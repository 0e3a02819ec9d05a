"""plan.dxf read back with ezdxf: no faults, the areas those of the plan, names harmless, two runs the same bytes."""

from __future__ import annotations

import io
from dataclasses import replace

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf import recover
from ezdxf.document import Drawing

from flatscan.report.marking import MarkingData, plan_dxf
from flatscan.report.marking.dxf import LAYERS


@pytest.fixture(scope="module")
def drawing(data: MarkingData) -> Drawing:
    document, auditor = recover.read(io.BytesIO(plan_dxf(data)))
    assert not auditor.has_errors
    return document


def polygons_on(drawing: Drawing, layer: str) -> list[shapely.Polygon]:
    lines = drawing.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]')
    assert all(line.closed for line in lines)  # type: ignore[attr-defined]
    return [shapely.Polygon([(x, y) for x, y in line.get_points("xy")]) for line in lines]  # type: ignore[attr-defined]


def texts_on(drawing: Drawing, layer: str) -> list[str]:
    return [text.dxf.text for text in drawing.modelspace().query(f'TEXT[layer=="{layer}"]')]


def test_units_are_millimetres_and_nothing_is_at_fault(drawing: Drawing) -> None:
    assert drawing.header["$INSUNITS"] == 4  # DXF reference: 4 is millimetres
    assert drawing.dxfversion == "AC1024"  # R2010
    auditor = drawing.audit()
    assert not auditor.errors
    assert not auditor.fixes
    assert {name for name, _, _ in LAYERS} <= {layer.dxf.name for layer in drawing.layers}
    used = {entity.dxf.layer for entity in drawing.modelspace()}
    assert used <= {name for name, _, _ in LAYERS}
    assert used >= {
        "Walls",
        "Fill areas",
        "Grind areas",
        "Joints to fill",
        "Joints not decided",
        "Lips to take down",
        "Lips not decided",
        "Movement joints",
        "Dams",
    }


@pytest.mark.parametrize(
    ("word", "joints", "lips"),
    [("over", "Joints to fill", "Lips to take down"), ("not_decided", "Joints not decided", "Lips not decided")],
)
def test_what_is_not_decided_is_on_layers_of_its_own(
    drawing: Drawing, data: MarkingData, word: str, joints: str, lips: str
) -> None:
    assert data.joint_work is not None
    found = drawing.modelspace().query(f'LWPOLYLINE[layer=="{joints}"]')
    assert len(found) == sum(fill.word == word for fill in data.joint_work.fills) > 0
    circles = drawing.modelspace().query(f'CIRCLE[layer=="{lips}"]')
    at = {(circle.dxf.center.x, circle.dxf.center.y) for circle in circles}
    assert at == {lip.at for lip in data.joint_work.lips if lip.word == word}


@pytest.mark.parametrize(("layer", "action"), [("Fill areas", "fill"), ("Grind areas", "grind")])
def test_areas_have_the_plan_s_areas(drawing: Drawing, data: MarkingData, layer: str, action: str) -> None:
    rings = [ring for marked in data.areas if marked.area.action == action for ring in marked.area.rings]
    assert rings
    wanted = [shapely.Polygon(ring) for ring in rings]
    found = polygons_on(drawing, layer)
    assert [p.area for p in found] == pytest.approx([p.area for p in wanted], rel=1e-9)
    assert all(p.equals_exact(q, 1e-6) for p, q in zip(found, wanted, strict=True))


def test_a_hole_is_a_polyline_of_its_own_and_left_out_of_the_hatch(data: MarkingData) -> None:
    square = np.array([(0, 0), (3000, 0), (3000, 2000), (0, 2000), (0, 0)], dtype=np.float64)
    hole = np.array([(1000, 500), (1000, 900), (1800, 900), (1800, 500), (1000, 500)], dtype=np.float64)
    first = data.areas[0]
    area = replace(first.area, rings=(square, hole))
    document, _ = recover.read(io.BytesIO(plan_dxf(replace(data, areas=(replace(first, area=area),)))))
    assert sorted(p.area for p in polygons_on(document, "Fill areas")) == pytest.approx([320_000.0, 6_000_000.0])
    (hatch,) = document.modelspace().query("HATCH")
    outer, inner = hatch.paths.paths  # type: ignore[attr-defined]
    assert [len(path.vertices) for path in (outer, inner)] == [4, 4]
    assert outer.path_type_flags & 1  # external
    assert not inner.path_type_flags & 1


def test_contours_lie_at_their_thickness(drawing: Drawing, data: MarkingData) -> None:
    lines = drawing.modelspace().query('LWPOLYLINE[layer=="Fill contours 1 mm"]')
    assert {line.dxf.elevation for line in lines} == {level for level, _ in data.fill_contours}
    assert len(lines) == sum(len(of_level) for _, of_level in data.fill_contours)


def test_corners_carry_their_distances(drawing: Drawing, data: MarkingData) -> None:
    letters, texts = texts_on(drawing, "Marking corners"), texts_on(drawing, "Marking distances")
    assert letters == [letter for marked in data.areas for letter in marked.letters]
    assert len(texts) == sum(len(marked.corners) for marked in data.areas)
    marked = data.areas[0]
    assert marked.marked is not None
    one, other = marked.marked.walls
    a, b = marked.marked.from_mm[0][0] / 1000.0
    assert f"1a: W{one.number} {a:.2f} m, W{other.number} {b:.2f} m" in texts


def test_names_cannot_break_the_file(drawing: Drawing) -> None:
    every = [text.dxf.text for text in drawing.modelspace().query("TEXT")]
    assert any("#panic" in text for text in every)
    assert all(text.isprintable() for text in every)
    assert not any("%%" in text for text in every)


def test_the_same_plan_gives_the_same_bytes_and_leaves_the_library_as_it_was(data: MarkingData) -> None:
    before = ezdxf.options.write_fixed_meta_data_for_testing
    assert plan_dxf(data) == plan_dxf(data)
    assert ezdxf.options.write_fixed_meta_data_for_testing == before


def test_an_empty_plan_is_a_drawing_of_the_room(empty: MarkingData) -> None:
    document, auditor = recover.read(io.BytesIO(plan_dxf(empty)))
    assert not auditor.has_errors
    (room,) = polygons_on(document, "Walls")
    assert room.area == pytest.approx(2600 * 2500 + 3400 * 4500)
