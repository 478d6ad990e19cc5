"""Writes a report: one HTML file with its pictures in it, or a PDF for printing."""

from __future__ import annotations

import base64
import html
import io
import textwrap
from collections.abc import Iterable
from pathlib import Path

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from thermview.cautions import BOARDS_HURT
from thermview.job.pictures import new_figure
from thermview.job.report import HEADS, Report, check_name

_STYLE = (
    "body{font:16px/1.5 sans-serif;max-width:70em;margin:2em auto;padding:0 1em}"
    "td,th{padding:.1em .8em;text-align:left;vertical-align:top}img{max-width:100%}"
)
_PAGE_PX = (1169, 827)  # A4 across, at 100 dots per inch
_LETTERS = 150
_CELL_LETTERS = (16, 20, 26, 26, 26, 40)
_ROWS_A_PAGE = 8


def write_pages(report: Report, path: Path) -> None:
    """Write a report in the format that the name ends in.

    Raises
    ------
    UsageError
        It ends in none of `.html`, `.pdf`.
    """
    check_name(path)
    if path.suffix.lower() == ".html":
        path.write_text(as_html(report), encoding="utf-8")
    else:
        _write_pdf(report, path)


def as_html(report: Report) -> str:
    """Return the report as one HTML page that needs no other file."""
    facts = "".join(f"<tr><th>{_e(n)}</th><td>{_e(words)}</td></tr>" for n, words in report.facts)
    heads = "".join(f"<th>{_e(head)}</th>" for head in HEADS)
    rows = "".join(
        f"<tr>{''.join(f'<td>{_e(cell)}</td>' for cell in row)}</tr>" for row in report.rows
    )
    remarks = "".join(f"<li>{_e(remark)}</li>" for remark in report.remarks)
    table = f"<table><tr>{heads}</tr>{rows}</table>" if rows else "<p>No regions.</p>"
    curves = "" if report.curves is None else _image(report.curves, "curves of the regions")
    return f"""<!doctype html>
<html lang="en"><meta charset="utf-8"><title>{_e(report.title)}</title><style>{_STYLE}</style>
<h1>{_e(report.title)}</h1>
<table>{facts}</table>
{_image(report.picture, "the frame and its regions")}
<p>Each number with one standard uncertainty, and the interval that holds the truth in 95 of 100
cases.</p>
{table}
<ul>{remarks}</ul>
{curves}
<p>{_e(BOARDS_HURT)}</p>
</html>
"""


def _e(text: str) -> str:
    return html.escape(text)


def _image(figure: Figure, what: str) -> str:
    stream = io.BytesIO()
    figure.savefig(stream, format="png")
    data = base64.b64encode(stream.getvalue()).decode("ascii")
    return f'<p><img src="data:image/png;base64,{data}" alt="{what}"></p>'


def _write_pdf(report: Report, path: Path) -> None:
    with PdfPages(path, metadata={"Title": report.title, "Creator": "thermview"}) as pages:
        facts = [f"{name}: {words}" for name, words in report.facts]
        pages.savefig(_text_page(report.title, [*facts, "", *report.remarks, "", BOARDS_HURT]))
        pages.savefig(report.picture)
        for start in range(0, len(report.rows), _ROWS_A_PAGE):
            pages.savefig(_table_page(report.rows[start : start + _ROWS_A_PAGE]))
        if report.curves is not None:
            pages.savefig(report.curves)


def _text_page(title: str, lines: Iterable[str]) -> Figure:
    figure = new_figure(*_PAGE_PX)
    figure.text(0.05, 0.94, title, fontsize=16, va="top")
    wrapped = [part for line in lines for part in textwrap.wrap(line, _LETTERS) or [""]]
    figure.text(0.05, 0.87, "\n".join(wrapped), fontsize=9, va="top", linespacing=1.4)
    return figure


def _table_page(rows: tuple[tuple[str, ...], ...]) -> Figure:
    figure = new_figure(*_PAGE_PX)
    axes = figure.subplots()
    axes.set_axis_off()
    cells = [
        [textwrap.fill(cell, width) for cell, width in zip(row, _CELL_LETTERS, strict=True)]
        for row in rows
    ]
    total = sum(_CELL_LETTERS)
    table = axes.table(
        cells,
        colLabels=list(HEADS),
        colWidths=[0.96 * width / total for width in _CELL_LETTERS],
        cellLoc="left",
        loc="upper left",
    )
    table.auto_set_font_size(False)
    table.set_fontsize(8)
    for (row, _), cell in table.get_celld().items():
        lines = max(text.count("\n") for text in (cells[row - 1] if row else HEADS)) + 1
        cell.set_height((lines + 0.8) * 0.024)
    return figure
