"""Notebooks: workbooks/ thin and without outputs, reference_checks/ executed with outputs."""

import ast
import re
import shutil
from pathlib import Path

import nbformat
import pytest

from wrapcalc.recorder import TOPICS

ROOT = Path(__file__).parents[1]
WORKBOOKS = sorted((ROOT / "workbooks").glob("*.ipynb"))
REFERENCES = sorted((ROOT / "reference_checks").rglob("*.ipynb"))
#: What each workbook opens.
OPENS = {"repair_package": "case_file", "case_form": "case_file", "what_if": "case_file", "review": "package_folder",
         "as_found": "package_folder", "close_out": "package_folder", "campaign": "campaign_folder"}
#: Those that run in the folder of `wrapcalc lab` as it is; the other needs a campaign (tests/campaign).
IN_LAB = [p for p in WORKBOOKS if OPENS[p.stem] != "campaign_folder"]
#: Those with controls; what they show without a browser is what stands in files.
VIEWS = [p for p in IN_LAB if p.stem != "repair_package"]


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
    assert len(tagged) == 1
    assert re.fullmatch(rf'{OPENS[path.stem]} = "[^"\n]+"', tagged[0].source)


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


@pytest.fixture(scope="module")
def labs(packages, tmp_path_factory) -> dict[str, Path]:
    """Folders as `wrapcalc lab` writes them: without packages, and with those of the example; copied before use."""
    from wrapcalc.package.starters import write_lab
    root = tmp_path_factory.mktemp("labs")
    for name in ("bare", "packaged"):
        write_lab(root / name)
    shutil.copytree(packages, root / "packaged" / "example" / "packages")
    return {name: root / name for name in ("bare", "packaged")}


@pytest.fixture
def lab(labs, tmp_path):
    """A copy of one of the folders."""
    return lambda state: Path(shutil.copytree(labs[state], tmp_path / "lab"))


def pages(folder: Path, name: str, *, isolated: bool = False) -> list[str]:
    """What each cell of the workbook shows to a reader without a browser, after a run from the top in the folder."""
    from wrapcalc.package.engine import run_notebook
    run_notebook(folder / name, folder / "run.ipynb", {}, cwd=folder, isolated=isolated)
    outputs = [o for c in code(folder / "run.ipynb") for o in c.outputs]
    assert all(o.output_type in ("execute_result", "display_data") for o in outputs), outputs
    assert all("text/html" in o.data for o in outputs), "a cell shows nothing to a reader without a kernel"
    return [o.data["text/html"] for o in outputs]


@pytest.mark.parametrize("path", IN_LAB, ids=ids)
def test_a_workbook_runs_from_the_top_in_the_lab_without_a_browser(lab, path):
    shown = pages(lab("packaged"), path.name)
    assert shown
    assert not any('role="alert"' in page or "Traceback" in page for page in shown)


@pytest.mark.parametrize("path", [p for p in VIEWS if OPENS[p.stem] == "package_folder"], ids=ids)
def test_where_the_packages_of_the_example_are_missing_one_message_says_what_to_do(lab, path):
    shown = "".join(pages(lab("bare"), path.name))
    assert len(re.findall(r'class="wb-message', shown)) == 1
    assert "wrapcalc package" in shown


@pytest.mark.parametrize("path", VIEWS, ids=ids)
def test_a_run_from_the_top_in_another_kernel_shows_the_same_page(lab, path):
    folder = lab("packaged")
    assert pages(folder, path.name) == pages(folder, path.name, isolated=True)


def test_there_are_at_least_three_executed_reference_notebooks():
    assert len(REFERENCES) >= 3


@pytest.mark.parametrize("path", REFERENCES, ids=ids)
def test_every_cell_of_a_reference_notebook_was_run(path):
    """nbval skips cells that were not run, so an unexecuted notebook would pass it vacuously."""
    cells = code(path)
    assert [c.execution_count for c in cells] == list(range(1, len(cells) + 1))
    assert sum(bool(c.outputs) for c in cells) >= len(cells) // 2
    assert not any(o.output_type == "error" for c in cells for o in c.outputs)
