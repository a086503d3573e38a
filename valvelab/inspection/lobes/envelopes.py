"""Envelopes of a spec against measured lobes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.conformity.envelope import EnvelopeFit, fit_envelope
from valvelab.errors import BadSpec
from valvelab.frozen import frozen
from valvelab.inspection.judging import ENVELOPE, decided, undecided_envelope
from valvelab.inspection.lobes.repeatability import LobeGroup, nose_centre
from valvelab.lobe.angle_error import response
from valvelab.lobe.characteristics import LobeCharacteristics
from valvelab.lobe.conditioning import condition
from valvelab.lobe.events import Places
from valvelab.lobe.profile import Profile, fit_lobes
from valvelab.lobe.propagation import Term
from valvelab.measured import Each, Measured, finite
from valvelab.phrase import Phrase, listed
from valvelab.records.lobes_result import EnvelopeUse
from valvelab.records.measurement import NO_DOUBTS, LiftTable
from valvelab.records.result import Note, Verdict, warning
from valvelab.records.spec import EnvelopeSpec, Spec
from valvelab.units import show


@frozen
class Nominal:
    """A nominal lobe: its fitted profile and its centre."""

    profile: Profile
    centre_cam_deg: float


@frozen
class LobeEnvelope:
    """One lobe in its envelope, with what a plot needs; deviations in mm over cam deg from the nominal's centre."""

    fit: EnvelopeFit
    nominal: Nominal
    standard_uncertainty_mm: float | None
    clause: str | None = None
    doubt: str = ""
    """Why the nominal may not be what it was read as."""

    @property
    def lower_mm(self) -> FloatArray:
        """Lower edge of the band (negative)."""
        return -self.fit.below_mm

    @property
    def upper_mm(self) -> FloatArray:
        """Upper edge of the band."""
        return self.fit.above_mm

    def use(self) -> EnvelopeUse:
        """The record of it."""
        worst = self.fit.worst
        return EnvelopeUse(
            worst_deviation_mm=float(self.fit.deviation_mm[worst]),
            worst_angle_cam_deg=float(self.fit.angle_cam_deg[worst]),
            worst_use_of_band=self.fit.use_of_band,
            fitted_angle_cam_deg=self.fit.shift_cam_deg,
            rms_um=1000.0 * self.fit.rms_mm,
        )

    @property
    def measured(self) -> Measured:
        """The worst deviation."""
        value = float(self.fit.deviation_mm[self.fit.worst])
        return Measured(value, self.standard_uncertainty_mm, doubt=self.doubt)

    def verdict(self, lobe: str, spec: Spec, measured: Measured) -> Verdict:
        """Decision on the worst deviation, against the band where it lies."""
        ends = float(self.lower_mm[self.fit.worst]), float(self.upper_mm[self.fit.worst])
        return decided(spec.decision, ENVELOPE, lobe, measured, ends, "mm", self.clause, where=self.outside)

    @property
    def outside(self) -> str:
        """From which angle to which the profile leaves its band, in words; empty where it lies in it."""
        said = [_from_to(first, last) for first, last in self.fit.outside]
        more = [Phrase("{count} more stretches", count=len(said) - _TOLD)] if len(said) > _TOLD else []
        places = said[:_TOLD] + more
        return (
            Phrase("outside the band {names} cam deg from the nominal's centre", names=listed(places)) if said else ""
        )


_TOLD = 4
"""Stretches outside a band that are told one by one."""


def _from_to(first: float, last: float) -> str:
    """A stretch of angles, cam deg; or its one angle."""
    ends = [show(angle, "cam deg", decimals=1) for angle in (first, last)]
    return (
        Phrase("at {ends}", ends=ends[0])
        if ends[0] == ends[1]
        else Phrase("from {ends} to {last}", ends=ends[0], last=ends[1])
    )


def nominal_lobes(table: LiftTable) -> dict[str, Nominal]:
    """Every lobe of a nominal table, fitted one by one: a nominal's columns need not share a form."""
    result: dict[str, Nominal] = {}
    for trace in table.traces:
        lobe = LobeGroup(LobeCharacteristics(fit_lobes(condition((trace,)))))
        result[trace.name] = Nominal(lobe.fitted.profile(0), centre_of(lobe, 0))
    return result


def centre_of(group: LobeGroup, row: int) -> float:
    """A lobe's centre, of its highest point where the centre could not be derived."""
    centre = finite(group.ask(nose_centre, circle=True).value[row])
    return float(group.ask(LobeCharacteristics.peak_angle, circle=True).value[row]) if centre is None else centre


def fit_envelopes(
    groups: Sequence[LobeGroup],
    kinds: Mapping[str, str | None],
    spec: Spec,
    spec_file: str,
    nominals: Mapping[str, LiftTable],
) -> dict[str, LobeEnvelope]:
    """Every lobe that an envelope of the spec selects, in its envelope; the first envelope that names a lobe counts."""
    result: dict[str, LobeEnvelope] = {}
    fitted_nominals: dict[str, dict[str, Nominal]] = {}
    for count, envelope in enumerate(spec.envelope, start=1):
        field = f"[[envelope]] {count}"
        if envelope.nominal not in nominals:
            raise BadSpec(spec_file, field, f"nominal {envelope.nominal!r} that was not read", "a lift table")
        for group in groups:
            if envelope.nominal not in fitted_nominals:
                fitted_nominals[envelope.nominal] = nominal_lobes(nominals[envelope.nominal])
            chosen = {
                row: _nominal_for(fitted_nominals[envelope.nominal], name, envelope, spec_file, field)
                for row, name in enumerate(group.fitted.names)
                if name not in result and name not in group.withheld and _selects(envelope, name, kinds[name])
            }
            doubts = nominals[envelope.nominal].doubts
            doubt = f"nominal {envelope.nominal}: {doubts.lift or doubts.angle}" if doubts != NO_DOUBTS else ""
            fits = {row: _fit_one(group, row, nominal, envelope) for row, nominal in chosen.items()}
            worst_at = {row: float(fit.measured_angle_cam_deg[fit.worst]) for row, fit in fits.items()}
            stated = _uncertainty(group, worst_at, turned="angle" in envelope.fit)
            for row, fit in fits.items():
                result[group.fitted.names[row]] = LobeEnvelope(fit, chosen[row], stated[row], envelope.clause, doubt)
    return result


def unanswered_envelopes(
    spec: Spec, kinds: Mapping[str, str | None], withheld: Mapping[str, str]
) -> tuple[list[Verdict], list[Note]]:
    """Rows for lobes that an envelope names and that are not in it, with the reason; notes on them.

    `kinds` maps every lobe read to its kind; `withheld` those that the asked follower can't describe to the reason.
    """
    rows: list[Verdict] = []
    notes: list[Note] = []
    taken: set[str] = set()
    for count, envelope in enumerate(spec.envelope, start=1):
        chosen = [name for name, kind in kinds.items() if _selects(envelope, name, kind)]
        lost = {name: withheld[name] for name in chosen if name in withheld}
        if not isinstance(envelope.lobes, str):
            lost |= {
                name: "the spec names it, but it is not among the readings"
                for name in envelope.lobes
                if name not in kinds
            }
        elif not chosen:
            lost[envelope.lobes] = f"[[envelope]] {count}: nothing that was measured answers it"
        for name, reason in lost.items():
            rows.append(undecided_envelope(spec, name, envelope, reason))
            notes.append(warning(f"{name} {ENVELOPE}", Phrase("undecided: {reason}", reason=reason)))
        twice = [name for name in chosen if name in taken]
        if twice:
            text = Phrase(
                "[[envelope]] {count} names {names} again: the envelope that named it first counts",
                count=count,
                names=", ".join(twice),
            )
            notes.append(warning(ENVELOPE, text))
        taken.update(chosen)
    return rows, notes


def _selects(envelope: EnvelopeSpec, name: str, kind: str | None) -> bool:
    if envelope.lobes == "all":
        return True
    return kind == envelope.lobes if isinstance(envelope.lobes, str) else name in envelope.lobes


def _nominal_for(lobes: dict[str, Nominal], name: str, envelope: EnvelopeSpec, spec_file: str, field: str) -> Nominal:
    if name in lobes:
        return lobes[name]
    if len(lobes) == 1:
        return next(iter(lobes.values()))
    found = ", ".join(lobes)
    raise BadSpec(
        spec_file, field, f"nominal {envelope.nominal} with lobes {found}", f"a lobe {name}, or one lobe only"
    )


def _fit_one(group: LobeGroup, row: int, nominal: Nominal, envelope: EnvelopeSpec) -> EnvelopeFit:
    measured, at_nominal = group.fitted.profile(row).value, nominal.profile.value
    centre = centre_of(group, row)
    return fit_envelope(measured, centre, at_nominal, nominal.centre_cam_deg, envelope.band, envelope.fit)


def _uncertainty(group: LobeGroup, worst_at: dict[int, float], *, turned: bool) -> dict[int, float | None]:
    """Standard uncertainty of the fitted lift of some rows, each at its own angle, instrument included.

    turned: the angle was fitted out, and with it what an error of angle has in common on both flanks.
    """
    characteristics = group.characteristics
    splines = group.fitted.splines
    rows = np.arange(len(group.fitted.names))
    angle = np.array([worst_at.get(row, np.nan) for row in range(rows.size)])
    index, t = splines.locate(np.nan_to_num(angle))
    noise = characteristics.propagation.standard(Term(Places(index, t, angle), 0, np.ones(rows.size)))
    lift, slope = (splines.at(rows, index, t, order) for order in (0, 1))
    moved = response(angle, slope)
    if turned:
        for flank in characteristics.steepest:
            moved = moved - response(flank, 0.5 * slope)
    instrument = characteristics.instrument
    total = np.sqrt(
        noise**2 + instrument.probe_mm**2 + (instrument.expansion * lift) ** 2 + characteristics.by_angle(moved) ** 2
    )
    if group.widening is not None:

        def there(copy: LobeCharacteristics) -> Each:
            # a fitted angle goes with the lobe's centre
            off = nose_centre(copy).value - centre if turned else np.zeros(rows.size)
            place, within = splines.locate(np.nan_to_num(angle) + np.nan_to_num(off))
            return Each(copy.fitted.splines.at(rows, place, within), total)

        centre = nose_centre(characteristics).value
        total = group.widening.apply(Each(lift, total), there).u
    return {row: finite(total[row]) if total[row] > 0.0 else None for row in worst_at}
