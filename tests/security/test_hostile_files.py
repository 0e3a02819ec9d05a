"""Every other file of the hostile job, each opened by a library of its own kind, and what the terminal was given."""

from __future__ import annotations

import csv
import io
import json
import re
import socket
import zipfile
from pathlib import Path

import ezdxf
import jsonschema
import numpy as np
import pypdf
import pytest
from ezdxf.lldxf.tagger import ascii_tags_loader

from flatscan.report.marking.dxf import LAYERS
from flatscan.report.output import FILE_NAMES
from flatscan.report.result.result import result_schema

from .hostile import BARS, FORBIDDEN, PAYLOADS, squeezed
from .looking import OUR_COLOURS, STARTS, acts_of, inside_of, runs, strings_of
from .running import Job

PDFS = ("report.pdf", "notice_of_concern.pdf", "marking_out.pdf")
#: Caches of the libraries that draw; they hold fonts of this machine and nothing of a run.
LIBRARY_CACHES = re.compile(
    r"/home/(?:cache|config)(?:/(?:matplotlib|ezdxf)(?:/[\w.-]+)?)?$|/(?:home|passing|working)$"
)


def text_of(path: Path) -> str:
    return squeezed("".join(page.extract_text() for page in pypdf.PdfReader(path).pages))


def cells_of(path: Path) -> list[str]:
    return [cell for row in csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")) for cell in row]


def test_it_made_every_file_that_was_to_be_looked_at(job: Job) -> None:
    """A file that is not made is not tested."""
    wanted = {*FILE_NAMES} - {"floor.jpg", "joints.csv", "stations.csv", "next_readings.csv", "joint_work.csv"}
    assert wanted <= {path.name for path in job.result.iterdir()} <= set(FILE_NAMES)


@pytest.mark.parametrize("name", PDFS)
def test_a_pdf_does_nothing_but_be_read(job: Job, name: str) -> None:
    """A link, a script or a file carried along in a report acts under the name of whoever sends it."""
    reader = pypdf.PdfReader(job.result / name)
    assert acts_of(reader) == set()
    assert reader.attachments == {}
    for page in reader.pages:
        for note in page.get("/Annots", []):
            assert "/A" not in note.get_object(), note.get_object()


@pytest.mark.parametrize("name", PDFS)
def test_the_typesetter_reads_no_file_and_runs_no_text(job: Job, name: str) -> None:
    """#read in a name would print a file of this machine into the report."""
    said = text_of(job.result / name)
    assert "root:x:" not in said
    assert not re.search(r"dict\(|sys\.inputs\W*\{", said)
    # A name on a drawing may be cut short after 40 letters.
    shown = [text for text in PAYLOADS if squeezed(text[:30]) in said]
    assert {"report.pdf": len(PAYLOADS) - 1, "notice_of_concern.pdf": 10, "marking_out.pdf": 1}[name] <= len(shown)


def test_pdf_titles_are_ours(job: Job) -> None:
    """Readers show a PDF's title for its name: control signs in it would repaint their lists."""
    for name in PDFS:
        told = pypdf.PdfReader(job.result / name).metadata
        for text in (told or {}).values():
            assert not FORBIDDEN & set(str(text))


def test_no_cell_of_a_table_runs(job: Job) -> None:
    """A spreadsheet runs what begins like a formula: cmd and HYPERLINK start programs and send the table away."""
    tables = sorted(job.result.glob("*.csv"))
    assert {path.name for path in tables} >= {"findings.csv", "readings.csv", "methods.csv", "areas.csv"}
    for path in tables:
        for cell in cells_of(path):
            assert not runs(cell), (path.name, cell)
            assert not FORBIDDEN & set(cell), (path.name, cell)
            assert "\n" not in cell


def test_no_cell_runs_where_semicolons_part_cells(job: Job) -> None:
    """Half of Europe's spreadsheets split at semicolons: a name with ``;=`` in it would begin a new cell there."""
    for path in job.result.glob("*.csv"):
        for line in path.read_text(encoding="utf-8").splitlines():
            for cell in line.split(";")[1:]:
                start = cell.split(",")[0].strip('" ')
                numbers = re.fullmatch(r"[-+\d. ]*", start) is not None
                assert numbers or not cell.lstrip(' "').startswith(STARTS), (path.name, cell[:80])


def test_tables_keep_the_words(job: Job) -> None:
    """Made safe must not mean lost: without its apostrophe a cell is what the person wrote."""
    for name, number in (("readings.csv", BARS), ("findings.csv", len(PAYLOADS))):
        joined = squeezed(" ".join(cells_of(job.result / name)))
        for text in (text.removeprefix("'") for text in PAYLOADS[:number]):
            assert squeezed(text).replace(";=", ";'=").replace(";@", ";'@") in joined, (name, text)


def test_the_drawing_is_clean(job: Job) -> None:
    """A group code out of a name would draw what is not there, or make a drawing program fail on opening."""
    drawing = ezdxf.readfile(job.result / "plan.dxf")
    auditor = drawing.audit()
    assert auditor.errors == []
    assert auditor.fixes == []
    space = drawing.modelspace()
    assert {entity.dxftype() for entity in space} <= {"LWPOLYLINE", "TEXT", "HATCH", "CIRCLE", "LINE"}
    assert {layer.dxf.name for layer in drawing.layers} == {name for name, _, _ in LAYERS} | {"0", "Defpoints"}
    assert {entity.dxf.layer for entity in space} <= {name for name, _, _ in LAYERS}
    assert len(list(space.query('TEXT[layer=="Doors"]'))) == len(PAYLOADS)
    assert len(list(space.query('TEXT[layer=="Zones"]'))) >= len(PAYLOADS)


def test_drawn_names_are_plain_text(job: Job) -> None:
    r"""%%u underlines, ^J breaks and \U+202E turns text in a drawing program: a name must read as it was written."""
    drawing = ezdxf.readfile(job.result / "plan.dxf")
    told = [entity.dxf.text for entity in drawing.modelspace().query("TEXT")]
    for text in told:
        assert not FORBIDDEN & set(text), ascii(text)
        assert "%%" not in text
    # As a drawing program shows them: its codes resolved.
    shown = [squeezed(entity.plain_text()) for entity in drawing.modelspace().query('TEXT[layer=="Doors"]')]
    for text in PAYLOADS:
        name = re.sub(r"\s+", " ", text).strip()
        known = squeezed(name[:38])
        assert any(one.startswith(known) for one in shown), (known, shown)
    raw = (job.result / "plan.dxf").read_text(encoding="utf-8")
    assert not FORBIDDEN & set(raw)
    assert not re.search(r"\\[UM]\+", raw)
    list(ascii_tags_loader(io.StringIO(raw)))


def test_the_result_is_valid_and_free_of_controls(job: Job) -> None:
    """Programs print what they read: a control sign that passes through here acts on somebody's terminal later."""
    data = (job.result / "result.json").read_bytes()
    found = json.loads(data)
    jsonschema.validate(found, result_schema(), cls=jsonschema.Draft202012Validator)
    for text in strings_of(found):
        assert not FORBIDDEN & set(text), ascii(text)
        text.encode("utf-8")
    words = squeezed("".join(strings_of(found)))
    for text in PAYLOADS:
        assert squeezed(text) in words


def test_the_terminal_gets_words_and_our_colours(job: Job) -> None:
    """Escapes in a name could retitle the window, clear it, or type for the reader."""
    assert "\x1b[1m" in job.check.out
    plain = OUR_COLOURS.sub("", job.check.out)
    assert sorted(map(hex, map(ord, FORBIDDEN & set(plain)))) == []
    assert not FORBIDDEN & set(job.check.err)


def test_the_kept_floor_is_numbers(job: Job) -> None:
    """A pickled object in a floor file would run when it is read."""
    with zipfile.ZipFile(job.result / "floor.npz") as archive:
        for entry in archive.infolist():
            assert re.fullmatch(r"[a-z_0-9]+\.npy", entry.filename)
    with np.load(job.result / "floor.npz", allow_pickle=False) as stored:
        assert {stored[name].dtype.kind for name in stored.files} <= set("fbu")


def test_nothing_is_written_but_the_result(job: Job) -> None:
    """A path out of a name would let a survey file overwrite what its reader owns."""
    result = str(job.result)
    strange = {
        name for name in job.changed
        if not (name == result or name.startswith(f"{result}/")) and not LIBRARY_CACHES.search(name)
    }  # fmt: skip
    assert strange == set()
    assert list((job.place / "passing").iterdir()) == []


def test_no_file_tells_of_the_machine_or_the_person(job: Job) -> None:
    """A report is sent to strangers: folders tell names, customers and what else lies on the machine."""
    secrets = [b"SECRET", str(job.place.parent).encode(), socket.gethostname().encode()]
    secrets = [secret for secret in secrets if len(secret) > 4]
    for path in sorted(job.result.iterdir()):
        for data in inside_of(path):
            for secret in secrets:
                at = data.find(secret)
                assert at < 0, (path.name, data[max(0, at - 80) : at + 80])


def test_no_picture_tells_where_it_was_taken(job: Job) -> None:
    """The place in a photograph is somebody's home."""
    for path in sorted(job.result.iterdir()):
        for data in inside_of(path):
            assert b"Exif\0\0" not in data, path.name
            assert b"eXIf" not in data, path.name
            assert b"<x:xmpmeta" not in data or path.suffix == ".pdf", path.name
