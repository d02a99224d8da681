"""Notebooks: workbooks/ thin and without outputs, reference_checks/ executed with outputs."""

import ast
import re
from pathlib import Path

import nbformat
import pytest

from wrapcalc.recorder import TOPICS

ROOT = Path(__file__).parents[1]
WORKBOOKS = sorted((ROOT / "workbooks").glob("*.ipynb"))
REFERENCES = sorted((ROOT / "reference_checks").rglob("*.ipynb"))


def read(path: Path):
    return nbformat.read(path, as_version=4)


def code(path: Path):
    return [c for c in read(path).cells if c.cell_type == "code"]


def ids(path: Path) -> str:
    return path.stem


@pytest.mark.parametrize("path", [*WORKBOOKS, *REFERENCES], ids=ids)
def test_a_notebook_is_valid_and_carries_no_traces_of_a_machine(path):
    nb = read(path)
    nbformat.validate(nb)
    assert not {"papermill", "widgets"} & nb.metadata.keys()
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"/(home|root|tmp|Users)/|[A-Z]:\\\\", text)
    assert not any(c.metadata.get("execution") or c.metadata.get("papermill") for c in nb.cells)


@pytest.mark.parametrize("path", WORKBOOKS, ids=ids)
def test_a_workbook_is_committed_without_outputs(path):
    assert all(not c.outputs and c.execution_count is None for c in code(path))


@pytest.mark.parametrize("path", WORKBOOKS, ids=ids)
def test_a_workbook_has_one_parameters_cell_that_holds_only_what_it_opens(path):
    tagged = [c for c in code(path) if "parameters" in c.metadata.get("tags", [])]
    assert [c.source for c in tagged] == [{"repair_package": 'case_file = "example:HB-07"',
                                           "campaign": 'campaign_folder = "my-campaign"'}[path.stem]]


@pytest.mark.parametrize("path", WORKBOOKS, ids=ids)
def test_a_workbook_is_thin(path):
    for cell in code(path):
        tree = ast.parse(cell.source)
        assert len(tree.body) <= 3
        for node in ast.walk(tree):
            assert not isinstance(node, (ast.BinOp, ast.For, ast.If, ast.FunctionDef)), cell.source
            if isinstance(node, (ast.Import, ast.ImportFrom)):
                assert ast.unparse(node) == "from wrapcalc import workbook as wb"
    for cell in read(path).cells:
        if cell.cell_type == "markdown":
            cited = (r"^#.*$|49 CFR \d+(\.\d+)?|ISO \d+|B31G|0\.85 dL|PCC-2|1991|2012")
            body = re.sub(cited, "", cell.source, flags=re.M)
            assert not re.search(r"\d", body), f"a number in prose: {body}"


def test_the_workbook_steps_through_every_heading_of_the_job():
    source = "\n".join(c.source for c in code(ROOT / "workbooks" / "repair_package.ipynb"))
    shown = re.findall(r'wb\.steps\(job, "([^"]+)"\)', source)
    assert shown == list(TOPICS)


def test_every_step_of_every_example_appears_in_its_executed_workbook(packages):
    import json
    for folder in packages.iterdir():
        record = json.loads((folder / "record.json").read_text(encoding="utf-8"))
        outputs = json.dumps([o.get("data", {}).get("text/plain", "") for c in code(folder / "workbook.ipynb")
                              for o in c.outputs], ensure_ascii=False)
        for item in record["items"]:
            assert f'{item["id"]}  {item["title"]}' in outputs.replace('\\"', '"'), (folder.name, item["id"])


def test_there_are_at_least_three_executed_reference_notebooks():
    assert len(REFERENCES) >= 3


@pytest.mark.parametrize("path", REFERENCES, ids=ids)
def test_every_cell_of_a_reference_notebook_was_run(path):
    """nbval skips cells that were not run, so an unexecuted notebook would pass it vacuously."""
    cells = code(path)
    assert [c.execution_count for c in cells] == list(range(1, len(cells) + 1))
    assert sum(bool(c.outputs) for c in cells) >= len(cells) // 2
    assert not any(o.output_type == "error" for c in cells for o in c.outputs)
