"""The pressure limit until the repair, for many anomalies, but for what the axial section asks. Pressures in MPa."""

from __future__ import annotations

import numpy as np

from wrapcalc.campaign.rows.rounding import steady_rows
from wrapcalc.case import Bundle
from wrapcalc.case.model import LIQUID, PLANT
from wrapcalc.formulas import pressure, restriction
from wrapcalc.stages.assessment.restriction import BY_FACTOR, BY_RATIO, DISCOVERY, STRENGTH
from wrapcalc.stages.assessment.sound_pipe import design_factor
from wrapcalc.stages.scope import discovery_fraction
from wrapcalc.standards.documents import CFR_192


class InterimRows:
    """The limit of one line by the option that the case names, or the lower of discovery and safe pressure.

    Made while recording.
    """

    def __init__(self, bundle: Bundle):
        case = bundle.case
        self._share = discovery_fraction(bundle).value().magnitude
        self._discovery = case.get("service.discovery_pressure").base
        self._option = case.disposition.reduction
        self._plain = case.service.service in (PLANT, LIQUID)
        factor = None if self._plain else design_factor(bundle)
        self._factor = None if factor is None else factor.magnitude
        self._ratio = None if self._plain else bundle.tables.value(CFR_192.id, "reduction_ratio").magnitude
        stated = [r.pressure.base for r in case.restriction if r.pressure is not None]
        self._most = min([case.get("service.maop").base, *stated])

    def limit(self, safe: np.ndarray, failure: np.ndarray) -> np.ndarray:
        """Limit by row. safe: governing safe pressure; failure: pressure that criteria take, NaN for none."""
        out = steady_rows(pressure.interim_pressure_limit.array(phi=self._share, P_disc=self._discovery, P_S=safe))
        chosen = self._chosen(safe, failure)
        if chosen is not None:
            lower = np.minimum(np.minimum(chosen, self._discovery), safe)
            out = np.where(np.isnan(chosen), out, lower)
        return np.minimum(out, self._most)

    def _chosen(self, safe: np.ndarray, failure: np.ndarray) -> np.ndarray | None:
        """Pressure by the option that the case names; None where its rule has no such option."""
        if self._option == DISCOVERY:
            return np.full(len(safe), float(steady_rows(pressure.discovery_pressure_limit.array(
                phi=self._share, P_disc=self._discovery))))
        if self._plain:
            return safe if self._option == STRENGTH else None
        if self._option == BY_FACTOR and self._factor is not None:
            return steady_rows(restriction.reduced_pressure_by_design_factor.array(P_F=failure, F=self._factor))
        if self._option == BY_RATIO:
            return steady_rows(restriction.reduced_pressure_by_failure_ratio.array(P_F=failure, k_red=self._ratio))
        return None
