"""Reading a plant file and finding what is wrong in it."""

from __future__ import annotations

import difflib
import json
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

__all__ = ["Finding", "PlantFileError", "find_file", "read_file", "schema"]


@dataclass(frozen=True)
class Finding:
    """Hold one thing that is wrong, or doubtful, in a plant file.

    Parameters
    ----------
    line : int
        Line of the file, from 1; 0 if the finding belongs to no line.
    key : str
        Where it is, e.g. ``part KF1: mtbf_h``.
    rule : str
        What is allowed.
    found : str
        What stands there instead.
    severity : str
        ``error`` or ``warning``.

    Examples
    --------
    >>> print(Finding(12, "part KF1: mttr_h", "must be > 0", "-2", "error"))
    line 12: error: part KF1: mttr_h must be > 0, got -2
    """

    line: int
    key: str
    rule: str
    found: str
    severity: str

    def __str__(self) -> str:
        """Write the finding as one line of text."""
        return f"line {self.line}: {self.severity}: {self.key} {self.rule}, got {self.found}"


class PlantFileError(ValueError):
    """Say everything that is wrong in a plant file.

    Parameters
    ----------
    path : str or Path
        The file.
    findings : iterable of Finding
        All errors in it.

    Examples
    --------
    >>> error = PlantFileError("my.toml", [Finding(3, "plant: name", "must be text", "7", "error")])
    >>> print(error)
    my.toml: 1 error
      line 3: error: plant: name must be text, got 7
    """

    def __init__(self, path: str | Path, findings: Iterable[Finding]) -> None:
        self.path = str(path)
        self.findings = tuple(findings)
        count = f"{len(self.findings)} error" + "s" * (len(self.findings) != 1)
        super().__init__("\n  ".join([f"{self.path}: {count}", *map(str, self.findings)]))


def find_file(path: str | Path) -> Path:
    """Return the path of a plant file, given as a path or as the name of one that comes along.

    Examples
    --------
    >>> find_file("brackenquay").name
    'brackenquay.toml'
    """
    path = Path(path)
    if path.suffix != ".toml" and not path.exists():
        shipped = Path(str(resources.files("labkit") / "plants" / f"{path}.toml"))
        if shipped.exists():
            return shipped
        names = sorted(each.stem for each in shipped.parent.glob("*.toml"))
        raise ValueError(f"path must be a .toml file or one of {', '.join(names)}, got {path}")
    return path


def schema() -> dict:
    """Return the JSON Schema of plant files.

    Examples
    --------
    >>> schema()["properties"]["format"]["const"]
    1
    """
    text = (resources.files("labkit") / "plants" / "plant.schema.json").read_text("utf-8")
    return json.loads(text)


def read_file(path: str | Path) -> tuple[dict, tuple[Finding, ...]]:
    """Read a plant file and list what its schema has against it."""
    import jsonschema

    document = tomllib.loads(Path(path).read_text("utf-8"))
    validator = jsonschema.Draft202012Validator(schema())
    findings = tuple(
        Finding(0, "/".join(map(str, error.absolute_path)), error.message, "", "error")
        for error in validator.iter_errors(document)
    )
    return document, findings
