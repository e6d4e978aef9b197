"""Where the data folders of the project are: in a checkout, an editable install, a wheel or an sdist."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from schedgen.errors import UsageError


@lru_cache(maxsize=8)
def data_folder(name: str) -> Path:
    """The folder `name` (`boards` or `firmware_templates`): inside the installed package, else beside it.

    Raises `UsageError` when neither is there.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_data" / name, package.parent / name):
        if folder.is_dir():
            return folder
    raise UsageError(
        f"the folder {name} of schedgen is missing; it should be in {package / '_data'} or beside {package}",
        "install schedgen again",
    )
