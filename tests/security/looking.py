"""How each kind of file is looked at: what in it would act, and all that is packed in it."""

from __future__ import annotations

import base64
import csv
import hashlib
import json
import re
import zipfile
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import ezdxf
import pypdf

from .hostile import FORBIDDEN

#: ECMA-48: select graphic rendition, the ones that we use; nothing else may follow an escape.
OUR_COLOURS = re.compile(r"\x1b\[(?:0|1|2|33|35|36)m")
#: What a PDF viewer would do, start, open, send or keep beside the pages (ISO 32000-1, 12.6 and 7.11.4).
ACTIONS = {
    "/URI", "/JavaScript", "/Launch", "/GoToR", "/GoToE", "/SubmitForm", "/ImportData", "/ResetForm", "/Rendition",
    "/Movie", "/Sound", "/Named", "/SetOCGState", "/RichMediaExecute",
}  # fmt: skip
NEVER = {
    "/JS",
    "/AA",
    "/OpenAction",
    "/EmbeddedFile",
    "/EmbeddedFiles",
    "/AcroForm",
    "/XFA",
    "/RichMedia",
    "/Collection",
}
#: OWASP, CSV injection: signs that begin a formula, and full-width ones that some editions read alike.
STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


class Parsed(HTMLParser):
    """Every element with its attributes, scripts with what is in them, and the text that is seen."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[tuple[str | None, str]] = []
        self.words: list[str] = []
        self.styles: list[str] = []
        self.comments: list[str] = []
        self._in = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._in = tag
        if tag == "script":
            self.scripts.append((dict(attrs).get("type"), ""))
        if tag == "style":
            self.styles.append("")

    def handle_endtag(self, *_: str) -> None:
        self._in = ""

    def handle_comment(self, data: str) -> None:
        self.comments.append(data)

    def handle_data(self, data: str) -> None:
        if self._in == "script":
            kind, so_far = self.scripts[-1]
            self.scripts[-1] = (kind, so_far + data)
        elif self._in == "style":
            self.styles[-1] += data
        else:
            self.words.append(data)


def strings_of(value: Any) -> Iterator[str]:
    """Every text in a tree, keys too."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from strings_of(key)
            yield from strings_of(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from strings_of(inner)


def objects_of(reader: pypdf.PdfReader) -> Iterator[dict[str, Any]]:
    """Every dictionary of a PDF, also those that nothing points to."""
    todo = [reader.trailer, *(reader.get_object(number) for number in range(1, int(reader.trailer["/Size"])))]
    while todo:
        value = todo.pop()
        if isinstance(value, dict):
            yield value
            todo += [v for v in value.values() if isinstance(v, (dict, list))]
        elif isinstance(value, list):
            todo += [v for v in value if isinstance(v, (dict, list))]


def acts_of(reader: pypdf.PdfReader) -> set[str]:
    """Names of everything in a PDF that does more than be read."""
    found: set[str] = set()
    for one in objects_of(reader):
        found |= NEVER & set(one)
        if one.get("/S") in ACTIONS or one.get("/Type") in ("/EmbeddedFile", "/Filespec"):
            found.add(str(one.get("/S", one.get("/Type"))))
        if one.get("/Type") == "/Annot" and one.get("/Subtype") not in ("/Link",):
            found.add(str(one["/Subtype"]))
    return found


def runs(cell: str) -> bool:
    """Whether a spreadsheet would take the cell for a formula; a plain number it may take for one."""
    return cell.lstrip(" \u00a0").startswith(STARTS) and re.fullmatch(r"[-+]?[\d.]+(?:e[-+]?\d+)?", cell) is None


def inside_of(path: Path) -> Iterator[bytes]:
    """A file's bytes, and those of all that is packed in it."""
    data = path.read_bytes()
    yield data
    if path.suffix == ".npz":
        with zipfile.ZipFile(path) as archive:
            yield from (archive.read(name) for name in archive.namelist())
    if path.suffix == ".html":
        for letters in re.findall(rb"base64,([A-Za-z0-9+/=]+)", data):
            yield base64.b64decode(letters)
    if path.suffix == ".pdf":
        reader = pypdf.PdfReader(path)
        yield str(reader.metadata).encode()
        yield str(reader.xmp_metadata and reader.xmp_metadata.stream.get_data()).encode()
        yield "".join(page.extract_text() for page in reader.pages).encode()
        for one in objects_of(reader):
            if hasattr(one, "get_data") and one.get("/Subtype") != "/Image":
                yield one.get_data()
    if path.suffix in {".png", ".jpg", ".tif"}:
        from PIL import Image

        with Image.open(path) as image:
            yield repr(image.info).encode()


def look_at(folder: Path, secret: str) -> None:
    """Every file of a folder, by its kind."""
    for path in sorted(folder.iterdir()):
        for data in inside_of(path):
            assert secret.encode() not in data, path.name
        if path.suffix == ".csv":
            for row in csv.reader(path.read_text(encoding="utf-8").splitlines()):
                for cell in row:
                    assert not runs(cell), (path.name, cell)
                    assert not FORBIDDEN & set(cell), (path.name, cell)
        elif path.suffix == ".pdf":
            assert acts_of(pypdf.PdfReader(path)) == set(), path.name
        elif path.suffix == ".json":
            for text in strings_of(json.loads(path.read_bytes())):
                assert not FORBIDDEN & set(text), (path.name, ascii(text))
        elif path.suffix == ".dxf":
            assert ezdxf.readfile(path).audit().errors == []
        elif path.suffix == ".html":
            look_at_page(path.read_text(encoding="utf-8"))


def look_at_page(source: str) -> None:
    page = Parsed(source)
    assert [tag for tag, _ in page.elements[:4]] == ["html", "head", "meta", "meta"]
    policy = page.elements[3][1]["content"] or ""
    assert "default-src 'none'" in policy
    for kind, text in page.scripts:
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert kind == "application/json" or f"'sha256-{digest}'" in policy
    for tag, attributes in page.elements:
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            assert name not in {"src", "href"} or (value or "").startswith(("data:image/", "#")), (tag, value)
    assert not {"iframe", "object", "embed", "base", "form", "link"} & {tag for tag, _ in page.elements}
    assert page.comments == []
    assert not FORBIDDEN & set(source)


def said_safely(out: str, err: str) -> None:
    assert not FORBIDDEN & set(OUR_COLOURS.sub("", out))
    assert not FORBIDDEN & set(err)
