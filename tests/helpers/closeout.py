"""A complete set of readings of a repair that was built as designed, for the tests of the close-out to spoil."""

import csv
import datetime
import io
import json
import shutil
from pathlib import Path

from wrapcalc.case import load_bundle
from wrapcalc.case.readings import COLUMNS, LAMINATE
from wrapcalc.package import digests
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.as_found.as_found import HOLDS
from wrapcalc.stages.closeout.expected_readings import edges, materials, unit_places
from wrapcalc.stages.site import dosing
from wrapcalc.stages.site.marks import marks
from wrapcalc.stages.site.takeoff import takeoff
from wrapcalc.values import Origin, Value

INSPECTOR, HELPER, INSTALLER, ENGINEER = "I. Inspector", "H. Helper", "F. Example", "E. Engineer"
AIR, STEEL, WET = 15.0, 17.0, 0.60


def looked(out: Path, package: str, *, verdict: str = HOLDS, number: int = 1, found: tuple[str, str] | None = None,
           **facts) -> Path:
    """A sealed look into the ditch beside `package` in the folder `out`, with this verdict, of the day on which the
    package was made. found: (text, text in its place) of the case; facts: of the manifest."""
    folder, of = out / "as_found" / f"{package}-{number}", out / package
    folder.mkdir(parents=True)
    (folder / "as_found.json").write_text(json.dumps({"package": package, "number": number, "verdict": verdict}))
    told, case = digests.read_manifest(of), (of / "case.toml").read_text("utf-8")
    assert found is None or found[0] in case
    (folder / "next_case.toml").write_text(case.replace(*found) if found else case, "utf-8")
    for name in load_bundle(of / "case.toml").files:
        if name != "case.toml":
            shutil.copy(of / name, folder / name)
    made = json.loads((of / "run.json").read_bytes())["finished_utc"]
    digests.write_manifest(folder, {"kind": "as found", "package": package, "case": told["case"],
                                    "revision": told["revision"], "number": number, "verdict": verdict,
                                    "date": made[:10],
                                    "package_manifest_sha256": digests.sha256((of / digests.MANIFEST).read_bytes())}
                           | facts)
    return folder


class Sound:
    """rows: one dict for each reading; spoil them with `set`, `drop`, `add`. start: end of blasting."""

    def __init__(self, outcome, package: str, digest: str, start: datetime.datetime):
        self.outcome, self.start, self.rows = outcome, start, []
        self.bundle, self.design = outcome.bundle, outcome.design
        with recording(Recorder(self.bundle.case.display)):
            self.marks = marks(self.bundle, self.design)
        self.units = [u for r in self.marks.repairs for u in r.units if u.tier == 1]
        self.add("package", package)
        self.add("record", f"sha256:{digest[:12]}")
        self._site()
        self._mixes()
        self._wrap()
        self._after()

    def at(self, minutes: float) -> str:
        """A time so many minutes after the end of blasting."""
        return (self.start + datetime.timedelta(minutes=minutes)).isoformat(timespec="minutes")

    def add(self, what: str, reading: str, where: str = "", time: str = "", by: str = INSPECTOR, instrument: str = "",
            remark: str = "") -> None:
        number = 1 + max((int(r["row"]) for r in self.rows), default=0)
        self.rows.append({"row": str(number), "what": what, "where": where, "reading": reading,
                          "time": time, "by": by, "instrument": instrument, "remark": remark})

    def find(self, what: str, where: str | None = None) -> list[dict]:
        found = [r for r in self.rows if r["what"] == what and (where is None or r["where"] == where)]
        assert found, (what, where)
        return found

    def set(self, what: str, reading: str, where: str | None = None, **more: str) -> None:
        """Change every such row."""
        for r in self.find(what, where):
            r.update({"reading": reading} | more)

    def drop(self, what: str, where: str | None = None) -> None:
        for r in self.find(what, where):
            self.rows.remove(r)

    def csv(self) -> bytes:
        buffer = io.StringIO()
        writer = csv.DictWriter(buffer, COLUMNS)
        writer.writeheader()
        writer.writerows(self.rows)
        return buffer.getvalue().encode()

    # -- as designed ---------------------------------------------------------------------------------------------
    def _site(self) -> None:
        surface = self.bundle.system.surface
        self.add("installer", INSTALLER, remark="WI-204")
        if self.bundle.case.get("work.blast_least_wall") is None:
            self.add("least wall for blasting", "4.0 mm", by=ENGINEER)
        self.add("wall under blasting", "4.6 mm", "thinnest place", instrument="UT 4")
        self.add("blast finished", "yes", time=self.at(0))
        self.add("blast grade", "yes")
        middle = (surface.profile_min.base + surface.profile_max.base) / 2
        for n in (1, 2, 3):
            self.add("blast profile", f"{middle * 1000:.0f} µm", f"spot {n}", self.at(20), instrument="R 2")
        self.add("soluble salt", "8 mg/m2", "spot 1", self.at(25), instrument="S 1")
        self.add("dust rating", "1", "spot 1")
        self.add("rust bloom", "no", time=self.at(40))
        for minutes in range(-30, 180, 30):
            self._climate(minutes)
        for hour in range(2, 46):
            self.add("steel temperature", f"{STEEL} °C", "cure log", self.at(60 * hour), instrument="L 1")
        live = self.bundle.case.get("service.installation_pressure")
        for half in range(-6, 102):
            self.add("line pressure", f"{0.95 * live.base:.4f} MPa", time=self.at(30 * half), instrument="G 7")

    def _climate(self, minutes: int) -> None:
        for what, reading in (("air temperature", f"{AIR} °C"), ("relative humidity", f"{WET:.0%}".replace("%", " %")),
                              ("steel temperature", f"{STEEL} °C")):
            self.add(what, reading, f"at {minutes} min", self.at(minutes), instrument="T 3")

    def _mixes(self) -> None:
        system, case = self.bundle.system, self.bundle.case
        parts = unit_places(len(self.units)) if system.is_sleeve else ["cloth"]
        for where in (*parts, *materials(self.bundle)):
            item = "unit" if where.startswith("unit") else where
            batch = next((s.batch for s in case.stock if s.item == item and s.batch), "X-1")
            self.add("batch", batch, where)
            if not any(s.item == item and s.batch == batch and s.expiry for s in case.stock):
                if not any(r["what"] == "expiry" and r["where"] == f"{item}: {batch}" for r in self.rows):
                    self.add("expiry", "2099-12-31", f"{where}: {batch}")
        air, steel = (Value(t, "degC", Origin("case", "x"), n) for t, n in ((AIR, "air"), (STEEL, "steel")))
        for n, material in enumerate(materials(self.bundle)):
            with recording(Recorder()):
                dose = dosing.dose_at(self.bundle, material, air, steel, steel)
                order = [x.packs for x in takeoff(self.bundle, self.design) if x.kind == material]
            start = 45 + 25 * n if material == "end seal" else 45
            for number in range(1, int(order[0].magnitude) + 1):
                where = f"{material}, mix {number}"
                self.add("resin in mix", f"{dose.resin.to('kg'):.4f} kg", where, instrument="B 1")
                self.add("hardener in mix", f"{dose.hardener.to('g'):.1f} g", where, instrument="B 1")
                self.add("mixing started", "yes", where, self.at(start))
                self.add("material placed", "yes", where, self.at(start + 18))

    def _wrap(self) -> None:
        self.add("carbon kept off the steel", "none", remark="glass fibre only")
        d, layers = self.design, int(self.design.laid.count.magnitude)
        around = 3.14159265 * self.bundle.case.get("pipe.outside_diameter").base
        for n, u in enumerate(self.units, 1):
            unit = f"unit {n}"
            self.add("circumference before", f"{around:.1f} mm", unit, instrument="tape 2")
            self.add("circumference after", f"{around + 6.2831853 * d.extent.build_up.magnitude:.1f} mm", unit,
                     instrument="tape 2")
            self.add("upstream side of unit", f"{u.upstream.magnitude:.1f} mm", unit, instrument="tape 2")
            self.add("downstream side of unit", f"{u.downstream.magnitude:.1f} mm", unit, instrument="tape 2")
            self.add("wrap start clock", u.clock, unit)
            self.add("wrap end off its mark", "10 mm", unit, instrument="tape 2")
        for edge in edges(len(self.units)):
            self.add("layers counted", str(layers), edge, by=INSPECTOR)
            self.add("layers counted", str(layers), edge, by=HELPER)
        first, last = self.marks.repairs[0], self.marks.repairs[-1]
        self.add("prepared steel, upstream end", f"{first.upstream_steel.magnitude - 5:.1f} mm", instrument="tape 2")
        self.add("prepared steel, downstream end", f"{last.downstream_steel.magnitude + 5:.1f} mm", instrument="tape 2")

    def _after(self) -> None:
        system, case = self.bundle.system, self.bundle.case
        a = system.acceptance
        for n in range(1, int(a.hardness_readings.base) + 1):
            place = f"{'upstream' if n % 2 else 'downstream'} end, reading {n}"
            self.add("hardness", f"{a.hardness_reference.base - 2 + n % 3:g}", place, self.at(60 * 45.2),
                     instrument=f"H 5, {a.hardness_scale}")
        self.add("tap test", "yes", time=self.at(60 * 45.3))
        self.add("dull area", "0 m2", "ends")
        self.add("dull area", "0 m2", "elsewhere")
        for item in LAMINATE:
            self.add(f"laminate: {item}", "no")
        if system.end_seal.used == "yes":
            self.add("end seal", "yes")
        thick = case.get("work.coating_thickness")
        for n in (1, 2, 3):
            self.add("coating thickness", thick.written if thick else "1.0 mm", f"spot {n}", instrument="C 1")
        self.add("holiday test voltage", "8 kV", time=self.at(60 * 45.8), instrument="D 1")
        self.add("holidays found", "0", time=self.at(60 * 45.8))
        self.add("magnetic markers", "yes")
        self.add("cathodic protection", "yes")
        self.add("leak or pressure test", "none", by=ENGINEER, remark="the owner's code asks for none")
        self.add("pressure released by", ENGINEER, time=self.at(60 * 46))
        self.add("accepted by", ENGINEER, time=self.at(60 * 51))
