"""What cannot be used, through the real command line: exit code 2, one sentence that tells, nothing written."""

from __future__ import annotations

import signal
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from flatscan.cli import entry, main

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_scans"
LEVELS = SAMPLES / "living_room_levels" / "levels.csv"


class Told:
    """What a run of the command line came to."""

    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err


@pytest.fixture
def flatscan(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Told]:
    """The program as its start-up script runs it, without the cost of starting Python."""

    def run(*words: object) -> Told:
        monkeypatch.setattr(sys, "argv", ["flatscan", *(str(word) for word in words)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as stopped:
            entry.main()
        said = capsys.readouterr()
        return Told(int(stopped.value.code or 0), said.out, said.err)

    return run


def names_in(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def assert_one_sentence(told: Told, *says: str) -> None:
    assert told.code == 2
    assert told.out == ""
    assert told.err.startswith("flatscan: ")
    assert told.err.count("\n") == 1
    assert told.err.rstrip().endswith((".", "?"))
    assert "Traceback" not in told.err
    for part in says:
        assert part.lower() in told.err.lower(), told.err


def cloud(path: Path, points_m: np.ndarray, header: str = "x_m y_m z_m") -> Path:
    np.savetxt(path, points_m, fmt="%.5f", header=header, comments="")
    return path


def room(size: tuple[float, float] = (3.0, 2.0), step: float = 0.02) -> np.ndarray:
    """A flat floor and one wall, in m."""
    x, y = np.meshgrid(np.arange(0.0, size[0], step), np.arange(0.0, size[1], step))
    floor = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    x, z = np.meshgrid(np.arange(0.0, size[0], step), np.arange(0.0, 2.0, step))
    return np.vstack([floor, np.column_stack([x.ravel(), np.full(x.size, size[1]), z.ravel()])])


def png(width: int, height: int, depth_bits: int, rows: bytes) -> bytes:
    """A grey PNG by the book (W3C PNG specification, 11.2): the header may promise more than the rows hold."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, depth_bits, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


def camera(folder: Path, width: int, height: int) -> Path:
    path = folder / "camera.json"
    path.write_text(f'{{"w": {width}, "h": {height}, "fl_x": 500, "fl_y": 500, "cx": {width / 2}, "cy": {height / 2}}}')
    return path


def cut(source: Path, to: Path, share: float) -> Path:
    whole = source.read_bytes()
    to.write_bytes(whole[: int(share * len(whole))])
    return to


def an_empty_file(folder: Path) -> list[object]:
    (folder / "scan.laz").write_bytes(b"")
    return [folder / "scan.laz"]


def a_cut_laz(folder: Path) -> list[object]:
    return [cut(SAMPLES / "large_hall_laser" / "scan.laz", folder / "cut.laz", 0.5)]


def a_cut_ply(folder: Path) -> list[object]:
    head = "ply\nformat binary_little_endian 1.0\nelement vertex 5000\n"
    head += "".join(f"property float {axis}\n" for axis in "xyz") + "end_header\n"
    (folder / "cut.ply").write_bytes(head.encode() + bytes(5000))
    return [folder / "cut.ply"]


def a_cut_png(folder: Path) -> list[object]:
    whole = png(64, 48, 16, bytes(48 * (1 + 64 * 2)))
    (folder / "cut.png").write_bytes(whole[:60])
    return [folder / "cut.png", "--camera", camera(folder, 64, 48)]


def a_wrong_suffix(folder: Path) -> list[object]:
    (folder / "plan.docx").write_bytes(b"PK\x03\x04 not a capture")
    return [folder / "plan.docx"]


def eight_bits(folder: Path) -> list[object]:
    (folder / "grey.png").write_bytes(png(64, 48, 8, bytes(48 * 65)))
    return [folder / "grey.png", "--camera", camera(folder, 64, 48)]


def an_image_bomb(folder: Path) -> list[object]:
    (folder / "bomb.png").write_bytes(png(60_000, 60_000, 16, bytes(100)))
    return [folder / "bomb.png", "--camera", camera(folder, 60_000, 60_000)]


def only_a_wall(folder: Path) -> list[object]:
    points = room()
    return [cloud(folder / "wall.xyz", points[points[:, 2] > 0.3]), "--up", "z", "--gravity"]


def too_little_of_the_floor(_: Path) -> list[object]:
    """A sound cloud on cells so small that most of them hold no point."""
    return [SAMPLES / "hallway_cloud", "--cell", "5"]


def three_points(folder: Path) -> list[object]:
    return [cloud(folder / "three.xyz", np.eye(3))]


def nothing_but_nan(folder: Path) -> list[object]:
    return [cloud(folder / "nan.xyz", np.full((500, 3), np.nan))]


def all_on_a_line(folder: Path) -> list[object]:
    return [cloud(folder / "line.xyz", np.linspace(0.0, 4.0, 2000)[:, None] * [1.0, 0.5, 0.0])]


def metres_that_are_millimetres(folder: Path) -> list[object]:
    return [cloud(folder / "far.xyz", 1000.0 * room(), header="x y z"), "--unit", "m"]


def a_path_through_a_file(folder: Path) -> list[object]:
    (folder / "note").write_text("a file")
    return [folder / "note" / "scans"]


def a_folder_without_captures(folder: Path) -> list[object]:
    (folder / "empty").mkdir()
    return [folder / "empty"]


def something_missing(folder: Path) -> list[object]:
    return [folder / "not there.laz"]


CAPTURES: dict[Callable[[Path], list[object]], tuple[str, ...]] = {
    an_empty_file: ("scan.laz", "empty"),
    a_cut_laz: ("cut.laz",),
    a_cut_ply: ("cut.ply",),
    a_cut_png: ("cut.png",),
    a_wrong_suffix: ("plan.docx",),
    eight_bits: ("grey.png", "16"),
    an_image_bomb: ("bomb.png", "60"),
    only_a_wall: ("wall.xyz", "floor"),
    too_little_of_the_floor: ("cloud.txt", "was seen", "30 %"),
    three_points: ("three.xyz", "point"),
    nothing_but_nan: ("nan.xyz",),
    all_on_a_line: ("line.xyz", "on one line"),
    metres_that_are_millimetres: ("far.xyz", "unit"),
    a_path_through_a_file: ("scans",),
    a_folder_without_captures: ("empty", "no capture"),
    something_missing: ("not there.laz", "no such file"),
}


@pytest.mark.parametrize("make", CAPTURES, ids=lambda make: make.__name__)
def test_a_capture_that_cannot_be_used(
    flatscan: Callable[..., Told], tmp_path: Path, make: Callable[[Path], list[object]]
) -> None:
    words = make(tmp_path)
    before = names_in(tmp_path)
    assert_one_sentence(flatscan("check", *words, "--out", tmp_path / "result"), *CAPTURES[make])
    assert names_in(tmp_path) == before


def product(folder: Path, text: str) -> Path:
    (folder / "mine.toml").write_text(text)
    return folder / "mine.toml"


GOOD_LIMITS = 'id = "mine"\ntitle = "Mine"\n[source]\ndocument = "contract"\nmark = "read"\n[[limits]]\nwhat = "gap"\n'
FILES: dict[str, tuple[Callable[[Path], list[object]], tuple[str, ...]]] = {
    "product that is no TOML": (lambda f: ["--product", product(f, "bag = = 3")], ("mine.toml", "TOML")),
    "product with a text for a number": (lambda f: ["--product", product(f, 'bag_kg = "x"')], ("mine.toml",)),
    "product with an unknown key": (lambda f: ["--product", product(f, "bags = 25")], ("mine.toml", "bags")),
    "product that is not there": (lambda f: ["--product", f / "none.toml"], ("--product", "none.toml")),
    "limits file without an edge": (
        lambda f: ["--limits", product(f, GOOD_LIMITS + "limit_mm = 3\n")],
        ("mine.toml", "edge_mm"),
    ),
    "limits file with a slip of the pen": (
        lambda f: ["--limits", product(f, GOOD_LIMITS + "limt_mm = 3\n")],
        ("mine.toml", "limt_mm", "Did you mean limit_mm?"),
    ),
    "limits file that is not there": (lambda f: ["--limits", f / "none.toml"], ("none.toml",)),
    "camera that is not there": (lambda f: ["--camera", f / "none.json"], ("--camera", "none.json")),
}


WORDS: dict[str, tuple[list[object], tuple[str, ...]]] = {
    "limits of no such name": (["--limits", "over-old-tile"], ("over-old-tile", "Did you mean", "?")),
    "the same capture twice": ([LEVELS.parent / "." / LEVELS.name], ("levels.csv", "twice")),
    "unknown unit": (["--unit", "furlong"], ("--unit", "furlong", "mm, cm, m, in, ft")),
    "unknown axis": (["--up", "north"], ("--up", "north")),
    "no length": (["--edges", "two metres"], ("--edges", "two metres")),
    "no edges": (["--edges", ","], ("--edges",)),
    "negative cell": (["--cell", "-5"], ("--cell", "-5")),
    "confidence below a half": (["--confidence", "0.4"], ("--confidence", "0.4")),
    "confidence that is no number": (["--confidence", "nan"], ("--confidence",)),
    "one direction": (["--directions", "1"], ("--directions",)),
    "negative seed": (["--seed", "-1"], ("--seed",)),
    "depth scale below zero": (["--depth-per-m", "-4"], ("--depth-per-m",)),
    "margin that eats the limit": (["--margin", "10"], ("--margin", "10 mm")),
    "unknown option": (["--frobnicate"], ("--frobnicate", "--help")),
    "option without its value": (["--cell"], ("--cell",)),
}


@pytest.mark.parametrize("name", [*FILES, *WORDS])
def test_an_option_that_cannot_be_used(flatscan: Callable[..., Told], tmp_path: Path, name: str) -> None:
    if name in WORDS:
        words, says = WORDS[name]
    else:
        make, says = FILES[name]
        words = make(tmp_path)
    before = names_in(tmp_path)
    assert_one_sentence(flatscan("check", LEVELS, "--out", tmp_path / "result", *words), *says)
    assert names_in(tmp_path) == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["chek", "room.laz"], ("chek", "Did you mean 'check'")),
        (["check"], ("SOURCE", "flatscan check --help")),
        (["demo"], ("FOLDER",)),
        (["demo", "x", "--kind", "sonar"], ("--kind", "sonar", "laser")),
        (["limits", "nope"], ("nope", "flatscan limits")),
        (["limits", "a", "b"], ("b",)),
        (["--frobnicate"], ("--frobnicate",)),
    ],
)
def test_a_wrong_command(
    flatscan: Callable[..., Told],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    says: tuple[str, ...],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert_one_sentence(flatscan(*words), *says)
    assert names_in(tmp_path) == []


def test_a_place_to_write_that_cannot_be_used(flatscan: Callable[..., Told], tmp_path: Path) -> None:
    """Said before the work and not after it: the capture named here is not even there."""
    (tmp_path / "kept").mkdir()
    (tmp_path / "kept" / "letter.txt").write_text("mine")
    (tmp_path / "note").write_text("a file")
    before = names_in(tmp_path)
    missing = tmp_path / "missing.laz"
    for out, says in (
        ("kept", ("kept", "exists")),
        ("note", ("note", "a file of that name")),
        ("note/result", ("no folder", "note")),
        ("not there/result", ("no folder", "not there")),
    ):
        assert_one_sentence(flatscan("check", missing, "--out", tmp_path / out), *says)
    forced = flatscan("check", missing, "--out", tmp_path / "kept", "--force")
    assert_one_sentence(forced, "letter.txt", "not replaced")
    assert_one_sentence(flatscan("demo", tmp_path / "kept"), "kept", "exists")
    assert names_in(tmp_path) == before


def test_a_mistake_of_ours_keeps_its_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(**_: object) -> None:
        raise RuntimeError("a bug")

    monkeypatch.setattr(main, "app", broken)
    with pytest.raises(RuntimeError, match="a bug"):
        main.run()


@pytest.mark.parametrize("stop", [KeyboardInterrupt(), None])
def test_ctrl_c_is_told_in_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], stop: BaseException | None
) -> None:
    """The parser may turn Ctrl-C into its exit code 130 or let it through, by its version."""

    def stopped(**_: object) -> int:
        if stop is not None:
            raise stop
        return 130

    monkeypatch.setattr(main, "app", stopped)
    with pytest.raises(SystemExit) as ended:
        main.run()
    assert ended.value.code == 130
    assert capsys.readouterr().err == "flatscan: stopped; nothing was written.\n"


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent otherwise there")
@pytest.mark.parametrize("words", [("check", SAMPLES / "old_tiled_kitchen", "--out"), ("demo", "--kind", "levels")])
def test_ctrl_c_leaves_nothing(tmp_path: Path, words: tuple[object, ...]) -> None:
    """A real interrupt of a real process, sent while the surface stage waits.

    It waits because Python drops an interrupt that lands in one of its own callbacks (an import's lock, say).
    """
    code = (
        # A shell starts what it runs in the background deaf to Ctrl-C.
        "import signal, time\nsignal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from flatscan import workflow\n"
        "def begin(*given, **named):\n    print('here', flush=True)\n    time.sleep(50)\n"
        "workflow.find_surface = workflow.surface_from_readings = begin\n"
        "from flatscan.cli.entry import main\nmain()"
    )
    command = [sys.executable, "-c", code, *(str(word) for word in words), str(tmp_path / "result")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        while process.stdout.readline() not in {"here\n", ""}:
            pass
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=60)
    assert process.returncode == 130, err
    # A survey file beside the capture may be told of before.
    assert err.endswith("flatscan: stopped; nothing was written.\n")
    assert "Traceback" not in err
    assert names_in(tmp_path) == []
