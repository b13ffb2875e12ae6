"""PDFs read back: text by page, and words that overlap or leave their page."""

from __future__ import annotations

import contextlib
import io
from functools import lru_cache
from itertools import pairwise
from unittest import mock

import numpy as np
import pdfplumber
from pdfminer.converter import PDFLayoutAnalyzer
from pdfminer.layout import LTChar
from pdfplumber.page import Page

_whole_object = Page.process_object


def _placed(page, one):
    """A letter with its place, size and font alone: colours and the like, which no word hangs on, take longer to read than these."""
    if not isinstance(one, LTChar):
        return _whole_object(page, one)
    left, up = page.mediabox[:2]
    top = page.height - one.y1 + up
    return {
        "object_type": "char",
        "page_number": page.page_number,
        "text": one.get_text(),
        "x0": one.x0 + left,
        "x1": one.x1 + left,
        "top": top,
        "bottom": page.height - one.y0 + up,
        "doctop": page.initial_doctop + top,
        "width": one.width,
        "height": one.height,
        "size": one.size,
        "upright": one.upright,
        "fontname": one.fontname,
        "matrix": one.matrix,
    }


@contextlib.contextmanager
def _words_of(data):
    """A PDF whose drawings are passed over: lines and areas take far longer to read than words."""
    with (
        mock.patch.object(PDFLayoutAnalyzer, "paint_path", lambda *path: None),
        mock.patch.object(Page, "process_object", _placed),
        pdfplumber.open(io.BytesIO(data)) as pdf,
    ):
        yield pdf


@lru_cache(64)
def pages_of(data):
    """Width, height, words with their boxes, and text of every page."""
    with _words_of(data) as pdf:
        return [
            (
                page.width,
                page.height,
                page.extract_words(keep_blank_chars=True),
                page.extract_text().replace("\xa0", " "),
            )
            for page in pdf.pages
        ]


def columns_of(data, *edges):
    """The text of every page by columns between shares of its width, one column after the other."""
    found = []
    with _words_of(data) as pdf:
        for page in pdf.pages:
            for left, right in pairwise((0.0, *edges, 1.0)):
                part = page.crop((left * page.width, 0.0, right * page.width, page.height))
                found.append(" ".join((part.extract_text() or "").replace("\xa0", " ").split()))
    return " ".join(found)


def text_of(data):
    """All text of a PDF, blanks and line ends made one."""
    return " ".join(" ".join(page[3] for page in pages_of(data)).split())


def faults(pages):
    """Words that leave their page or lie on one another."""
    found = []
    for number, (width, height, words, _) in enumerate(pages, 1):
        boxes = np.array([[w["x0"], w["top"] + 1.5, w["x1"], w["bottom"] - 1.5] for w in words])
        if not len(boxes):
            continue
        off = (boxes[:, 0] < 5) | (boxes[:, 1] < 5) | (boxes[:, 2] > width - 5) | (boxes[:, 3] > height - 5)
        found += [(number, "off the page", words[i]["text"]) for i in np.nonzero(off)[0]]
        a, b = boxes[:, None], boxes[None]
        over = (np.minimum(a[..., 2:], b[..., 2:]) - np.maximum(a[..., :2], b[..., :2]) > 0.5).all(axis=-1)
        found += [(number, words[i]["text"], words[j]["text"]) for i, j in np.argwhere(np.triu(over, 1))]
    return found
