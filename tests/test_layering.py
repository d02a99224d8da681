"""A lower layer never imports a higher one."""

import ast
from pathlib import Path

import pytest

import wrapcalc

ROOT = Path(wrapcalc.__file__).parent

#: From the ground up; a module may import its own line and those above it in this list.
LAYERS = [
    ["errors"],
    ["units"],
    ["values", "reading"],
    ["fields", "people"],
    ["expression"],
    ["checks"],
    ["standards.documents"],
    ["recorder", "formula", "standards"],
    ["systems"],
    ["case"],
    ["formulas"],
    ["searches"],
    ["stages"],
    ["record_assessment", "record_design", "record_dig", "record_materials", "record_release", "record_weather"],
    ["record_site"],
    ["record"],
    ["record_closeout", "record_as_found"],
    ["render"],
    ["package"],
    ["register"],
    ["campaign"],
    ["workbook"],
    ["cli_campaign"],
    ["cli"],
    ["__main__"],
]
#: Imports for annotations only, or inside a function, that go upwards on purpose.
ALLOWED = {
    ("record", "stages"), ("record_assessment", "stages"), ("record_design", "stages"), ("standards.tables", "formula"),
    # registry() imports the formula modules so that tables and tests see every formula
    ("formula", "formulas"),
}


def layer(module: str) -> int:
    """Index of the most specific layer of a module name relative to wrapcalc."""
    best = max(((len(name), i) for i, row in enumerate(LAYERS) for name in row
                if module == name or module.startswith(name + ".")), default=None)
    assert best is not None, f"{module} belongs to no layer; add it to LAYERS and DEVELOPERS.md"
    return best[1]


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(p for p in parts if p != "__init__")


FILES = sorted(p for p in ROOT.rglob("*.py") if module_name(p) not in ("", "example"))


@pytest.mark.parametrize("path", FILES, ids=module_name)
def test_a_lower_layer_never_imports_a_higher_one(path):
    name = module_name(path)
    here = layer(name)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("wrapcalc"):
            base = node.module.removeprefix("wrapcalc").lstrip(".")
            targets = [base] if base else [a.name for a in node.names]
        elif isinstance(node, ast.Import):
            targets = [a.name.removeprefix("wrapcalc.") for a in node.names if a.name.startswith("wrapcalc.")]
        else:
            continue
        for target in targets:
            if target == "__version__":
                continue
            if any((name == a or name.startswith(a + ".")) and (target == b or target.startswith(b + "."))
                   for a, b in ALLOWED):
                continue
            assert layer(target) <= here, f"{name} imports {target}, which is a higher layer"


def test_formulas_and_units_do_no_input_or_output():
    for path in sorted((ROOT / "formulas").glob("*.py")):
        names = {n.id for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Name)}
        assert not names & {"open", "print", "Path", "input"}, path.name


def test_widgets_are_imported_nowhere_yet():
    """ipywidgets belongs to workbook/ alone; today nothing imports it."""
    for path in FILES:
        assert "ipywidgets" not in path.read_text(encoding="utf-8") or module_name(path).startswith("workbook")
