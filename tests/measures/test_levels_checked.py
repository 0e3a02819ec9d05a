"""A levels table through the whole job: lines that were asked for, a room that was stated, a scan it lies beside."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import flatscan
from flatscan.settings import JointSettings, MeasureSettings, Settings, SurfaceSettings

SETTINGS = Settings(
    surface=SurfaceSettings(realisations=20, cell_mm=200.0),
    measure=MeasureSettings(edges_mm=(2000.0,), draws=4),
    joints=JointSettings(find=False),
)


def levels(path: Path, *, lines: str = "") -> Path:
    """13 rows of 15 readings every 300 mm from 0.6 m off the corner; a dip of 6 mm round x 2.4, y 2.4 m."""
    y, x = np.indices((13, 15)) * 0.3 + 0.6
    staff = 1500.0 + 6.0 * np.exp(-((x - 2.4) ** 2 + (y - 2.4) ** 2) / 0.5) + 0.2 * np.sin(31.0 * x * y)
    rows = [f"{a:.1f},{b:.1f},{c:.2f}" for a, b, c in zip(x.ravel(), y.ravel(), staff.ravel(), strict=True)]
    path.write_text(f"# reading sigma_mm: 0.05\n{lines}x_m,y_m,staff_mm\n" + "\n".join(rows) + "\n")
    return path


def test_a_grid_of_staff_readings_is_read_by_hand(tmp_path: Path) -> None:
    report = flatscan.check(levels(tmp_path / "levels.csv", lines="# room: 5.4 x 4.8 m\n"), settings=SETTINGS)
    assert report.surface.kind == "readings"
    assert report.surface.area_m2 == pytest.approx(5.4 * 4.8)
    # The staff grows where the floor falls: a dip, and a gap over it near its 6 mm, less what 2 m spans of its flanks.
    worst = report.measurement.gaps[0]
    assert worst.at == pytest.approx((2400.0, 2400.0), abs=250.0)
    assert 4.5 < worst.gap.value < 6.5
    assert report.measurement.f_numbers is not None
    assert len(report.measurement.f_numbers.lines) == 8  # rows 1, 5, 9, 13 and columns 1, 5, 9, 13


def test_a_line_asked_for_on_the_command_line(tmp_path: Path) -> None:
    lines = (((600.0, 1200.0), (4800.0, 1200.0)), ((600.0, 600.0), (3000.0, 2400.0)))
    settings = replace(SETTINGS, measure=replace(SETTINGS.measure, lines_mm=lines))
    report = flatscan.check(levels(tmp_path / "levels.csv"), settings=settings)
    assert report.surface.area_m2 == pytest.approx(4.2 * 3.6)
    found = report.measurement.f_numbers
    assert found is not None
    assert [line.readings for line in found.lines] == [15]
    assert [c.text.split()[1] for c in report.measurement.caveats if c.name == "line_not_read"] == ["2"]


def test_levels_beside_a_scan_correct_it(tmp_path: Path) -> None:
    """The scan bends by 4 mm where the levels are flat: they bring it back."""
    rng = np.random.default_rng(2)
    xy = rng.uniform(0.0, (5.4, 4.8), (60_000, 2))
    bend = 0.004 * ((xy[:, 0] - 2.7) / 2.7) ** 2
    np.savetxt(tmp_path / "cloud.xyz", np.column_stack([xy, bend + rng.normal(0, 3e-4, len(xy))]), fmt="%.5f")
    y, x = np.mgrid[0.3:4.6:0.7, 0.3:5.2:0.7]
    rows = [f"{a:.2f},{b:.2f},0.0" for a, b in zip(x.ravel(), y.ravel(), strict=True)]
    (tmp_path / "levels.csv").write_text("# reading sigma_mm: 0.1\nx_m,y_m,height_mm\n" + "\n".join(rows) + "\n")
    read = replace(SETTINGS.read, unit="m", up="z")
    settings = replace(SETTINGS, surface=SurfaceSettings(cell_mm=50.0, systematic_mm=2.0), read=read)
    plain = flatscan.check(tmp_path / "cloud.xyz", settings=settings)
    corrected = flatscan.check([tmp_path / "cloud.xyz", tmp_path / "levels.csv"], settings=settings)
    assert corrected.surface.kind == "cloud"
    # 4 mm of a parabola across the room: its root mean square about the mean is 4 sqrt(4/45) = 1.19 mm.
    assert np.nanstd(plain.surface.estimate_mm) == pytest.approx(1.19, rel=0.1)
    assert np.nanstd(corrected.surface.estimate_mm) < 0.3
