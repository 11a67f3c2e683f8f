"""In which formats can a report be written, and which module writes each?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import import_module
from types import MappingProxyType
from typing import Literal

from validator.findings import Report
from validator.language import Language, speaking
from validator.reports.measures import Units, for_reader, in_units
from validator.reports.spoken import in_language

Grouping = Literal["grade", "plan"]
"""By what the findings are grouped: by grade, or first by their place in the HACCP plan and then by grade."""


@dataclass(frozen=True, slots=True)
class Renderer:
    """One format: its name on the command line, its file extension, and the module that writes it.

    The module is imported at the first use, so that a run pays only for the formats it asks for. Every such module has
    `render(report: Report) -> bytes`, a pure function that shows the whole report and filters nothing silently. A
    `canonical` format is for programs and stays the same whatever units and grouping its reader likes; any other that is
    `grouped` takes `group: Grouping` as well. A `binary` one is not for a terminal.
    """

    name: str
    extension: str
    description: str
    module: str
    canonical: bool = False
    grouped: bool = True
    binary: bool = False
    draws: bool = False
    """Whether the format shows `Report.pictures`, so that the audit has to compute them."""
    folder: bool = False
    """Whether the format can be written as a folder of files as well."""

    def render(
        self, report: Report, units: Units = "si", group: Grouping = "grade", language: Language | None = None
    ) -> bytes:
        """The report in this format, as the bytes of a complete file, in the units and the language of its reader."""
        render = import_module(self.module).render
        if self.canonical:
            written: bytes = render(report)
        else:
            with speaking(language):
                shown = seen(report, units, language)
                written = render(shown, group=group) if self.grouped else render(shown)
        return written

    def render_folder(
        self, report: Report, units: Units = "si", group: Grouping = "grade", language: Language | None = None
    ) -> Iterator[tuple[str, bytes]]:
        """The report as the files of a folder, each a relative path and its bytes; only where `folder` is set."""
        render = import_module(self.module).render_folder
        with speaking(language):
            yield from render(seen(report, units, language), group=group)


def seen(report: Report, units: Units, language: Language | None) -> Report:
    """The report as a reader of these units and this language sees it."""
    shown = for_reader(report, units)
    if language is None:
        return shown
    language.also(lambda text: in_units(text, units))
    return in_language(shown, language)


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
        "pdf": Renderer(
            "pdf", "pdf", "pages to print, sign and file", "validator.reports.pdf", draws=True, binary=True
        ),
        "sarif": Renderer(
            "sarif",
            "sarif",
            "SARIF 2.1.0, for code scanning and viewers of findings",
            "validator.reports.sarif",
            canonical=True,
        ),
        "junit": Renderer(
            "junit",
            "xml",
            "JUnit XML, for build servers: a suite a store, a case a rule",
            "validator.reports.junit",
            canonical=True,
        ),
        "markdown": Renderer("markdown", "md", "Markdown, for the summary of a job", "validator.reports.markdown"),
        "annotations": Renderer(
            "annotations",
            "annotations.txt",
            "the worst findings beside the lines of their files, in a build",
            "validator.reports.annotations",
            canonical=True,
        ),
        "csv": Renderer(
            "csv", "csv", "the findings, one row each, to sort or to load", "validator.reports.csv_", canonical=True
        ),
        "xlsx": Renderer(
            "xlsx",
            "xlsx",
            "the findings and the rows that show them, as a workbook",
            "validator.reports.xlsx",
            canonical=True,
            binary=True,
        ),
        "actions-csv": Renderer(
            "actions-csv",
            "actions.csv",
            "the list of corrective actions",
            "validator.reports.actions_csv",
            grouped=False,
        ),
        "actions-xlsx": Renderer(
            "actions-xlsx",
            "actions.xlsx",
            "the list of corrective actions, to keep, sign and verify",
            "validator.reports.actions_xlsx",
            grouped=False,
            binary=True,
        ),
    }
)
"""Every format by its name, in the order in which help shows them."""
