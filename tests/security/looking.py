"""How each kind of file is looked at: what in it would act, and all that is packed in it."""

from __future__ import annotations

import base64
import re
import zipfile
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pypdf

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
