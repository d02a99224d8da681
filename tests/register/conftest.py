"""A folder of small packages as the commands write them: sealed, with a record of the parts that the register reads."""

import json

import pytest

from wrapcalc.package import digests


def value(magnitude, unit="MPa"):
    return {"magnitude": magnitude, "unit": unit, "shown": f"{magnitude} {unit}", "name": "n",
            "origin": {"kind": "step", "ref": "A1"}}


def _item(kind, key, **more):
    return {"type": kind, "id": key, "title": key, "citation": "Mechanics", "status": "derived", "inputs": []} | more


class Folder:
    """Packages below `root`; every method writes one folder and gives its path."""

    def __init__(self, root):
        self.root = root

    def package(self, case="HB-07", revision=1, *, decision="wrap", interim=6.48, restored=8.6, section="valve 2 to 3",
                inputs=(), restrictions=(), written="2026-05-01", without=(), **more):
        folder = self.root / f"{case}-r{revision}"
        folder.mkdir(parents=True)
        stated = dict(inputs)
        if section:
            stated["location.section"] = section
        for i, (reference, pressure) in enumerate(restrictions):
            stated[f"restriction.{i}.reference"] = reference
            stated[f"restriction.{i}.pressure"] = (f"{pressure} MPa", pressure, "MPa")
        rows = []
        for field, given in stated.items():
            text, magnitude, unit = given if isinstance(given, tuple) else (given, None, "")
            rows.append({"field": field, "answered": True, "written": text, "magnitude": magnitude, "unit": unit})
        record = {"schema": 1, "case": {"id": case, "title": "t", "line": "line 4", "joint": "joint 118",
                                        "display": "SI"},
                  "decision": {"word": decision, "interim_limit": None if interim is None else value(interim),
                               "beside": value(2.0)},
                  "inputs": rows, "bears": {"restored": value(restored)} if restored else None,
                  "system": {"id": "example-sleeve", "name": "Example sleeve (invented)"},
                  "items": [_item("step", "A1", formula="failure_pressure", citation="ASME B31G-2012, 2.2", inputs=[
                                {"origin": {"kind": "table", "ref": "49 CFR 192/depth_limit"}},
                                {"origin": {"kind": "system", "ref": "example-sleeve/lamina.ply"}}]),
                            _item("check", "C1", citation="49 CFR 192, 192.933; Trade practice",
                                  provided=value(1.0), limit=None)],
                  "table_entries": [{"key": "49 CFR 192/depth_limit"}],
                  "documents": [{"id": "ASME B31G-2012"}, {"id": "49 CFR 192"}],
                  "life": None, "disposition": None} | more
        record = {k: v for k, v in record.items() if k not in without}
        (folder / "record.json").write_text(json.dumps(record), encoding="utf-8")
        (folder / "run.json").write_text(json.dumps({"finished_utc": f"{written}T10:00:00Z"}), encoding="utf-8")
        digests.write_manifest(folder, {"case": case, "revision": revision, "decision": decision,
                                        "record_sha256": "0" * 64})
        return folder

    def digest(self, package):
        return digests.sha256((self.root / package / "manifest.json").read_bytes())

    def approve(self, package="HB-07-r1", on="2026-05-03", **facts):
        folder = self.root / "approval" / package
        folder.mkdir(parents=True)
        (folder / "sheet.html").write_text("x", encoding="utf-8")
        digests.write_manifest(folder, {"kind": "approval", "package": package,
                                        "package_manifest_sha256": self.digest(package), "author": "A", "checker": "B",
                                        "approver": "C", "approved_on": on} | facts)
        return folder

    def as_found(self, package="HB-07-r1", number=1, verdict="the design holds"):
        folder = self.root / "as_found" / f"{package}-{number}"
        folder.mkdir(parents=True)
        sha = self.digest(package)
        data = {"schema": 1, "package_manifest_sha256": sha, "verdict": verdict}
        (folder / "as_found.json").write_text(json.dumps(data), encoding="utf-8")
        digests.write_manifest(folder, {"kind": "as found", "package": package, "package_manifest_sha256": sha})
        return folder

    def close(self, package="HB-07-r1", number=1, verdict="accepted", on="2026-06-01", restored=8.6, **facts):
        folder = self.root / "closeout" / f"{package}-{number}"
        folder.mkdir(parents=True)
        data = {"schema": 1, "package": package, "closeout_revision": number,
                "package_manifest_sha256": self.digest(package), "verdict": verdict, "accepted_by": "D",
                "closed_on": on, "next_inspection": "2027-06-01", "end_of_life": "2046-06-01",
                "batches": [{"item": "adhesive", "batch": "A-2207", "expiry": "2027-01-01"}], "nonconformances": [],
                "pressure_restored": value(restored) if restored else None,
                "items": [_item("step", "Q1", formula="dew_point")]} | facts
        (folder / "closeout.json").write_text(json.dumps(data), encoding="utf-8")
        digests.write_manifest(folder, {"kind": "close-out", "package": package})
        return folder


@pytest.fixture
def folder(tmp_path):
    root = tmp_path / "packages"
    root.mkdir()
    return Folder(root)


@pytest.fixture
def another(tmp_path):
    """Makes further folders of packages."""
    def make(name):
        (tmp_path / name).mkdir()
        return Folder(tmp_path / name)
    return make
