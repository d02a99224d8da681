"""The package that field data belong to, and the folder in which the user keeps them."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.package.closeout import Rerun, rerun
from wrapcalc.package.digests import MANIFEST
from wrapcalc.package.explain import read_record
from wrapcalc.package.issued import Issued, issued
from wrapcalc.stages.job import WRAP
from wrapcalc.workbook.named import named

#: Field data of a package stand here, below the folder in which the notebook works, unless another one is named.
FIELD = "field"


@dataclass
class Opened:
    """A package that may be worked with. field_folder: of the user, for this package."""

    package: Path
    of: Issued
    field_folder: Path
    record: dict[str, Any] = field(repr=False)

    @property
    def name(self) -> str:
        """Name of the package."""
        return self.of.name

    @property
    def display(self) -> str:
        """"SI" or "US", as the package prints."""
        return str(self.record["case"]["display"])

    @cached_property
    def again(self) -> Rerun:
        """The case of the package run again; worked once."""
        return rerun(self.of)


def opened(package_folder: str, field_folder: str, what: str) -> Opened:
    """Open a package to `what` ("check", "close out"). Raises PackageError with how to go on."""
    package = named("package_folder", package_folder, "example/packages/HB-07-r1")
    if not package.exists():
        raise PackageError(f"{package_folder}: there is no such folder. Make a package first, such as: "
                           "wrapcalc package example/HB-07.toml --out example/packages; then run this cell again")
    of = issued(package, what)
    record = read_record(package)
    word = record["decision"]["word"]
    if word != WRAP:
        raise PackageError(f"{of.name}: its decision is '{word}'; only a package that decides '{WRAP}' has field data "
                           f"to {what}")
    if field_folder and not isinstance(field_folder, str):
        named("field_folder", field_folder, f"{FIELD}/{of.name}")
    folder = Path(field_folder) if field_folder else Path(FIELD) / of.name
    _outside(folder)
    return Opened(package, of, folder, record)


def _outside(folder: Path) -> None:
    """Raises PackageError for a folder of field data in a sealed one: a file more, and that one verifies no longer."""
    try:
        real = folder.resolve()
        sealed = next((p for p in (real, *real.parents) if (p / MANIFEST).is_file()), None)
    except (OSError, ValueError, RuntimeError) as e:
        raise PackageError(f"{str(folder)!r}: is no folder for field data ({e}); name another one") from None
    if sealed is not None:
        raise PackageError(f"{folder}: is {'the sealed folder' if sealed == real else 'in the sealed folder'} "
                           f"{sealed.name}, in which nothing may be changed or added; name a folder outside it for "
                           f"your field data, such as {FIELD}/{sealed.name}")
