"""The sheet on paper: PDF through WeasyPrint, which is imported only then."""

from __future__ import annotations

from typing import Any

from schedgen.errors import UsageError

MISSING = (
    "WeasyPrint, which makes the PDF, is not there or lacks the library Pango ({reason}).",
    "pip install 'schedgen[sheet]'; on Debian also: apt-get install libpango-1.0-0 libpangoft2-1.0-0. "
    "Or open the HTML file in a browser and print it.",
)


def sheet_pdf(html: str) -> bytes:
    """The page as PDF. Nothing is fetched. Raises UsageError where WeasyPrint or Pango is missing."""
    try:
        from weasyprint import HTML
    except (ImportError, OSError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise UsageError(MISSING[0].format(reason=reason), MISSING[1]) from error

    def refuse(url: str, *_: Any, **__: Any) -> dict[str, Any]:
        raise ValueError(f"the sheet is complete in itself; {url} is not fetched")

    data: bytes = HTML(string=html, url_fetcher=refuse).write_pdf(pdf_identifier=b"schedgen")
    return data
