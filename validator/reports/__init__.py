"""In which formats can a report be written, and which module writes each?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import import_module
from types import MappingProxyType
from typing import Literal

from validator.findings import Report
from validator.reports.measures import Units, for_reader

Grouping = Literal["grade", "plan"]
"""By what the findings are grouped: by grade, or first by their place in the HACCP plan and then by grade."""


@dataclass(frozen=True, slots=True)
class Renderer:
    """One format: its name on the command line, its file extension, and the module that writes it.

    The module is imported at the first use, so that a run pays only for the formats it asks for. Every such module has
    `render(report: Report) -> bytes`, a pure function that shows the whole report and filters nothing silently. A
    `canonical` format is for programs and stays the same whatever units and grouping its reader likes; any other takes
    `group: Grouping` as well.
    """

    name: str
    extension: str
    description: str
    module: str
    canonical: bool = False
    draws: bool = False
    """Whether the format shows `Report.pictures`, so that the audit has to compute them."""
    folder: bool = False
    """Whether the format can be written as a folder of files as well."""

    def render(self, report: Report, units: Units = "si", group: Grouping = "grade") -> bytes:
        """The report in this format, as the bytes of a complete file; `units` are those that its reader sees."""
        render = import_module(self.module).render
        written: bytes = render(report) if self.canonical else render(for_reader(report, units), group=group)
        return written

    def render_folder(
        self, report: Report, units: Units = "si", group: Grouping = "grade"
    ) -> Iterator[tuple[str, bytes]]:
        """The report as the files of a folder, each a relative path and its bytes; only where `folder` is set."""
        render = import_module(self.module).render_folder
        files: Iterator[tuple[str, bytes]] = render(for_reader(report, units), group=group)
        return files


RENDERERS: Mapping[str, Renderer] = MappingProxyType(
    {
        "text": Renderer("text", "txt", "plain text to read in a terminal", "validator.reports.text"),
        "json": Renderer(
            "json",
            "json",
            "the whole report for programs and the archive",
            "validator.reports.json_",
            canonical=True,
            draws=True,
        ),
        "html": Renderer(
            "html",
            "html",
            "one self-contained page to read, send or print",
            "validator.reports.html",
            draws=True,
            folder=True,
        ),
        "pdf": Renderer("pdf", "pdf", "pages to print, sign and file", "validator.reports.pdf", draws=True),
    }
)
"""Every format by its name, in the order in which help shows them."""
