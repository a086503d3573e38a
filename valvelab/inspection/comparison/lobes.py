"""Two lift tables of one shaft: every lobe's later curve laid onto its earlier one.

Where both tables show the base circles, the zeros are theirs, so lift is counted from what does not wear, and the best
fit is one of angle alone; else the fit takes out a zero too. Uncertainty: both fits' noise at every angle with their
covariance along the lobe, what turns, drift and form add, and what probe, encoder and temperature are stated to be off
by. One instrument, named in both tables, errs alike in both and counts once.

The greatest of many noisy values is above zero where nothing was worn. A loss is wear only where it exceeds what noise
alone rises to somewhere along the lobes in one table of twenty; below that, wear is 0 with an uncertainty that leaves
room for what may have gone unseen.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from math import hypot, sqrt

import numpy as np

from valvelab.angles import wrap_scalar
from valvelab.arrays import FloatArray, read_only
from valvelab.conformity.expansion import REFERENCE_DEGC, STEEL_EXPANSION_PER_K
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.inspection.comparison.characteristics import LobeChanges
from valvelab.inspection.lobes.contour import missing_for_contour
from valvelab.inspection.lobes.convert import words_of
from valvelab.inspection.lobes.envelopes import centre_of
from valvelab.inspection.lobes.inspect import (
    LobesQuestion,
    converted,
    fitted_groups,
)
from valvelab.inspection.lobes.repeatability import LobeGroup
from valvelab.inspection.unit_doubts import LACKS_ANGLE
from valvelab.lobe.angle_error import response, standard
from valvelab.lobe.characteristics import LobeCharacteristics
from valvelab.lobe.difference import BestFit, best_fit, level_passed_by_noise
from valvelab.lobe.events import Places, event_mask
from valvelab.lobe.profile import Profile
from valvelab.lobe.propagation import Term
from valvelab.lobe.smoothing_bias import PLATEAU_LENGTHS, expected_greatest
from valvelab.measured import Each, Measured
from valvelab.phrase import Phrase, listed
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, info, warning

STEP_CAM_DEG = 0.5
"""Between the angles of the curve that is told; finer than a fit can bend."""
PLACES, EACH_WIDER = 61, 5
"""Places on a lobe that covariances are worked out at; each so manieth for what turns, drift and form add."""
CHANCE = 0.05
"""Of a table without wear in which noise passes for some."""
LEAST_WEAR_MM = 1e-4
"""Less is rounding of a calculated table (0.1 µm)."""
FEWEST_LOBES = 3
"""Lobes that can say how the whole shaft stands."""
ANOTHER_LOBE = 0.1
"""Of the lift: a difference beyond is no wear (the share at which turns of one lobe contradict each other)."""
COVERS = 1.96
"""Standard uncertainties to either side of a value that a stated interval covers (JCGM 100:2008, G.1)."""


@frozen(slots=False, eq=False)
class Side:
    """One of the two tables as fitted; `without_angle`: lobes whose angle uncertainty nobody knows."""

    table: LiftTable
    groups: tuple[LobeGroup, ...]
    without_angle: frozenset[str]

    @cached_property
    def lobes(self) -> dict[str, tuple[LobeGroup, int]]:
        """Every lobe's group and its row there, in the table's order."""
        found = {name: (group, row) for group in self.groups for row, name in enumerate(group.fitted.names)}
        return {trace.name: found[trace.name] for trace in self.table.traces}

    def profile(self, name: str) -> Profile:
        """A lobe's fitted profile."""
        group, row = self.lobes[name]
        return group.fitted.profile(row)

    def centre(self, name: str) -> float:
        """A lobe's centre, cam deg."""
        return centre_of(*self.lobes[name])

    def circle_zero(self, name: str) -> float | None:
        """The zero that the base circle gave, mm on the table's own zero; None where it shows none."""
        group, row = self.lobes[name]
        base = group.fitted.bases[row]
        return None if base is None else float(base.abc[0])

    def zero_u(self, name: str) -> float:
        """Standard uncertainty of that zero by noise, mm; 0 where there is none."""
        group, row = self.lobes[name]
        if group.fitted.bases[row] is None:
            return 0.0
        source = group.characteristics if group.source is None else group.source.characteristics
        return float(np.sqrt(max(source.propagation.base_covariance(row)[0, 0], 0.0)))

    def feet(self, name: str) -> tuple[float, float]:
        """Where a lobe begins and ends, cam deg on the table's own angles, continuous."""
        group, row = self.lobes[name]
        lobes = group.characteristics.lobes
        on = np.flatnonzero(event_mask(lobes)[row])
        first = lobes.splines.start + lobes.splines.step * float(lobes.first[row])
        return first + lobes.splines.step * float(on[0]), first + lobes.splines.step * float(on[-1])

    def covers(self, name: str, angle_cam_deg: FloatArray) -> np.ndarray:
        """Which angles the table holds a lobe at; same shape."""
        profile = self.profile(name)
        if profile.period is not None:
            return np.ones(angle_cam_deg.shape, dtype=np.bool_)
        middle = 0.5 * (profile.start_cam_deg + profile.stop_cam_deg)
        off = np.mod(angle_cam_deg - middle + 180.0, 360.0) - 180.0
        return np.asarray(np.abs(off) <= 0.5 * (profile.stop_cam_deg - profile.start_cam_deg))

    def noise(self, angles: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """Covariance of each lobe's lift at its angles, (n, n) in mm²; `angles`: (n,) by lobe."""
        found: dict[str, FloatArray] = {}
        for group in self.groups:
            names = group.fitted.names
            anywhere = next((angles[name] for name in names if name in angles), None)
            if anywhere is None:
                continue
            at = np.stack([angles.get(name, anywhere) for name in names])
            index, t = group.fitted.splines.locate(at)
            one = np.ones(len(names))
            terms = [Term(Places(index[:, k], t[:, k], at[:, k]), 0, one) for k in range(at.shape[1])]
            covariance = group.characteristics.propagation.covariance(*terms)
            found |= {name: covariance[row] for row, name in enumerate(names) if name in angles}
        return found

    def wider(self, name: str, angle_cam_deg: FloatArray, weights: FloatArray, u: FloatArray) -> FloatArray:
        """Uncertainties u, (m,), of weights, (m, n), × the lift at angles, (n,), with what turns, drift and form add.

        In the unit of u.
        """
        group, row = self.lobes[name]
        if group.widening is None and not group.thinned:
            return u
        curves: dict[LobeCharacteristics, FloatArray] = {}
        rows = len(group.fitted.names)

        def of(lobes: LobeCharacteristics, weight: FloatArray, own: float) -> Each:
            if lobes not in curves:
                curves[lobes] = lobes.fitted.profile(row).value(angle_cam_deg)
            return Each(np.full(rows, weight @ curves[lobes]), np.full(rows, own))

        asked = zip(weights, u, strict=True)
        found = [group.ask(lambda lobes, w=weight, own=own: of(lobes, w, own)).u[row] for weight, own in asked]
        return np.array(found)


@frozen
class ComparedLobe:
    """One lobe's two curves over angle from the earlier centre, (n,) each, mm: the later one as it was laid on.

    u_mm: standard uncertainty of the difference. worst: where that is greatest. fit: of angle and zero.
    """

    lobe: str
    against: str
    angle_cam_deg: FloatArray
    before_mm: FloatArray
    after_mm: FloatArray
    u_mm: FloatArray
    worst: int
    changes: LobeChanges
    unseen_mm: float | None

    @property
    def difference_mm(self) -> FloatArray:
        """Later less earlier."""
        return np.asarray(self.after_mm - self.before_mm)


@frozen
class Instruments:
    """What the instruments make a difference uncertain by: probe (mm), encoder (cam deg), a share of the lift."""

    probe_mm: float
    encoder_cam_deg: float
    expansion: float

    @classmethod
    def of(cls, before: LiftTable, after: LiftTable) -> Instruments:
        """Once where both tables name one instrument, else both (JCGM 100:2008, 5.2)."""
        same = before.instrument is not None and before.instrument == after.instrument
        warm = [REFERENCE_DEGC if one.temperature_degc is None else one.temperature_degc for one in (before, after)]
        return cls(
            together(before.probe_uncertainty_mm, after.probe_uncertainty_mm, same=same),
            together(before.encoder_uncertainty_cam_deg, after.encoder_uncertainty_cam_deg, same=same),
            STEEL_EXPANSION_PER_K * abs(warm[1] - warm[0]),
        )


def together(before: float | None, after: float | None, *, same: bool) -> float:
    """Calibration uncertainty of a difference: of one instrument it counts once (JCGM 100:2008, 5.2)."""
    return max(before or 0.0, after or 0.0) if same else hypot(before or 0.0, after or 0.0)


def compare_lobes(
    before: LiftTable, after: LiftTable, pairs: Mapping[str, str]
) -> tuple[list[ComparedLobe], list[Note]]:
    """Lay every later lobe onto its earlier one; `pairs`: the earlier lobe of each later one, by name.

    Raises BadFile for a table that can't be fitted, CannotEvaluate for lift that can't be compared.
    """
    notes: list[Note] = []
    earlier, later = _side(before, "before", notes), _side(after, "after", notes)
    later = _under_one_follower(earlier, later, notes)
    pairs = {name: other for name, other in pairs.items() if not _withheld(later, name)}
    grids = {name: _places(earlier, other) for name, other in pairs.items()}
    starts = {name: wrap_scalar(later.centre(name) - earlier.centre(other)) for name, other in pairs.items()}
    centres = {other: earlier.centre(other) for other in pairs.values()}
    noise_before = earlier.noise({other: centres[other] + grids[name] for name, other in pairs.items()})
    noise_after = later.noise({name: centres[other] + starts[name] + grids[name] for name, other in pairs.items()})
    work = _Work(earlier, later, Instruments.of(before, after), _doubt(before, after), len(pairs))
    found = [
        work.compared(name, other, grids[name], starts[name], noise_before[other], noise_after[name])
        for name, other in pairs.items()
    ]
    return found, [*notes, *_notes(found, work)]


def _side(table: LiftTable, when: str, notes: list[Note]) -> Side:
    """A table fitted; what is stated of its instrument enters the difference, not each side."""
    plain = replace(table, probe_uncertainty_mm=None, encoder_uncertainty_cam_deg=None, temperature_degc=None)
    groups, unseen, said = fitted_groups(plain, LobesQuestion())
    notes += [
        note.model_copy(update={"about": Phrase("{when}: {about}", when=Phrase(when), about=note.about)})
        for note in (*table.notes, *said)
    ]
    return Side(table, tuple(groups), unseen if table.encoder_uncertainty_cam_deg is None else frozenset())


def _under_one_follower(earlier: Side, later: Side, notes: list[Note]) -> Side:
    """The later lobes under the earlier follower, where the two tables state different ones."""
    before, after = earlier.table, later.table
    if before.lift_at != after.lift_at:
        found = Phrase(
            "lift at the {lift_at} in {file}, at the {lift_at_2} in {other_file}",
            lift_at=before.lift_at,
            file=before.file,
            lift_at_2=after.lift_at,
            other_file=after.file,
        )
        raise CannotEvaluate(Reason.BAD_VALUES, Phrase("{found}: expected both at one place", found=found))
    if before.follower is None or after.follower is None:
        if before.follower != after.follower:
            silent = before.file if before.follower is None else after.file
            notes.append(warning("follower", Phrase("{silent} states none: taken as the other table's", silent=silent)))
        return later
    if before.follower == after.follower:
        return later
    told = Phrase(
        "{follower} in {file}, {other} in {other_file}",
        follower=words_of(before.follower),
        file=before.file,
        other=words_of(after.follower),
        other_file=after.file,
    )
    reason = missing_for_contour(before) or missing_for_contour(after)
    if reason is not None:
        raise CannotEvaluate(
            Reason.MISSING_INPUT,
            Phrase("followers differ, {told}, and can't be converted: {reason}", told=told, reason=reason),
        )
    said: list[Note] = []
    groups = tuple(converted(group, after, before.follower, said) for group in later.groups)
    notes.append(
        warning("follower", Phrase("{told}: the later lobes are described under the earlier follower", told=told))
    )
    notes += [note for note in said if note.level == "warning"]
    return replace(later, groups=groups)


def _withheld(side: Side, name: str) -> bool:
    return name in side.lobes[name][0].withheld


def _doubt(before: LiftTable, after: LiftTable) -> str:
    """Why either table may not be what it was read as."""
    doubts = (text for table in (before, after) for text in (table.doubts.lift, table.doubts.angle))
    return next(filter(None, doubts), "")


def _places(earlier: Side, name: str) -> FloatArray:
    """Places from foot to foot, from the lobe's centre, (PLACES,)."""
    centre, (first, last) = earlier.centre(name), earlier.feet(name)
    start = first + 360.0 * round((centre - 0.5 * (first + last)) / 360.0) - centre
    return np.linspace(start, start + last - first, PLACES)


@frozen
class _Work:
    """What all lobes of two tables share; lobes: how many are compared."""

    earlier: Side
    later: Side
    instruments: Instruments
    doubt: str
    lobes: int

    def compared(
        self, name: str, other: str, places: FloatArray, start: float, noise_before: FloatArray, noise_after: FloatArray
    ) -> ComparedLobe:
        """One lobe."""
        centre = self.earlier.centre(other)
        inside = self.later.covers(name, centre + places + start)
        if inside.sum() < PLACES // 3:
            found = Phrase(
                "lobe {name}: found under a third of the lobe in {file}", name=name, file=self.later.table.file
            )
            raise CannotEvaluate(
                Reason.TOO_FEW_READINGS, Phrase("{found}, expected both tables over the event", found=found)
            )
        places = places[inside]
        both = (noise_before + noise_after)[np.ix_(inside, inside)]
        before, after = self.earlier.profile(other).value, self.later.profile(name).value
        circles = self.earlier.circle_zero(other), self.later.circle_zero(name)
        by_fit = None in circles
        noise = np.sqrt(np.maximum(np.diagonal(both), 0.0))
        fit = best_fit(before, after, centre + places, start, noise, zero=by_fit)
        weights = np.concatenate([fit.on_fit * fit.unlike, fit.on_left])
        fit_u, left_u = self._uncertainties(name, other, places, fit, weights, both)
        angle = STEP_CAM_DEG * np.arange(np.ceil(places[0] / STEP_CAM_DEG), np.floor(places[-1] / STEP_CAM_DEG) + 1.0)
        lifts = before(centre + angle, 0), after(centre + angle + fit.shift_cam_deg, 0) - fit.zero_mm
        u = np.interp(angle, places, left_u)
        off = lifts[1] - lifts[0]
        zero = fit.zero_mm + (circles[1] or 0.0) - (circles[0] or 0.0)
        on_zero = float(fit_u[1]) if by_fit else hypot(self.earlier.zero_u(other), self.later.zero_u(name))
        worst = int(np.argmax(np.abs(off)))
        hold = self._hold(name, other)
        wear, unseen = self._wear(off, u, hold)
        lacks = self._lacks(name, other)
        told = {
            "shift": Measured.of(wrap_scalar(fit.shift_cam_deg), float(fit_u[0])),
            "zero": Measured.of(1000.0 * zero, 1000.0 * hypot(on_zero, self.instruments.probe_mm)),
            "rms": Measured.of(1000.0 * float(np.sqrt(np.mean(off**2)))),
            "worst": self._greatest(off, u, worst, hold),
            "worst_angle": Measured.of(float(angle[worst])),
            "max_lift_change": self._max_lift_change(name, other, fit.zero_mm, on_zero if by_fit else 0.0),
            "wear": wear,
        }
        told = {
            key: replace(value, doubt=self.doubt, lacks="" if key in {"zero", "max_lift_change"} else lacks)
            for key, value in told.items()
        }
        earlier, later = map(read_only, lifts)
        changes = LobeChanges(**told)
        return ComparedLobe(name, other, read_only(angle), earlier, later, read_only(u), worst, changes, unseen)

    def _uncertainties(
        self, name: str, other: str, places: FloatArray, fit: BestFit, weights: FloatArray, both: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Standard uncertainties of shift (cam deg) and zero (mm) as far as fitted, and of what is left, (n,) in mm."""
        centre = self.earlier.centre(other)
        by_noise = np.sqrt(np.maximum(np.einsum("mi,ij,mj->m", weights, both, weights), 0.0))
        count = fit.on_fit.shape[0]
        asked = np.r_[0:count, count : weights.shape[0] : EACH_WIDER, weights.shape[0] - 1]
        more = np.zeros(weights.shape[0])
        for side, lobe, angle in (
            (self.earlier, other, centre + places),
            (self.later, name, centre + places + fit.shift_cam_deg),
        ):
            added = side.wider(lobe, angle, weights[asked], by_noise[asked]) ** 2 - by_noise[asked] ** 2
            more[:count] += added[:count]
            more[count:] += np.interp(places, places[asked[count:] - count], added[count:])
        profile = self.earlier.profile(other)
        lift, slope = profile.value(centre + places), profile.value(centre + places, 1)
        moved = weights @ response(centre + places, slope)
        stated = standard(moved, self.instruments.encoder_cam_deg) ** 2
        stated += (self.instruments.expansion * (weights @ lift)) ** 2
        probe = np.full(weights.shape[0], self.instruments.probe_mm)
        probe[:count] = self.instruments.probe_mm * np.abs(fit.on_fit @ lift) / float(lift.max())
        total = np.sqrt(by_noise**2 + np.maximum(more, 0.0) + stated + probe**2)
        return total[:count], total[count:]

    def _hold(self, name: str, other: str) -> float:
        """Cam degrees over which the noise of the difference hangs together: that of the finer curve."""
        sides = (self.earlier, other), (self.later, name)
        return min(side.lobes[lobe][0].characteristics.propagation.noise_length(0) for side, lobe in sides)

    def _wear(self, off: FloatArray, u: FloatArray, hold: float) -> tuple[Measured, float | None]:
        """Wear in um, and the greatest loss in mm where it is none beyond the noise."""
        level = level_passed_by_noise(off.size * STEP_CAM_DEG, hold, CHANCE / self.lobes)
        beyond = (-off > level * u) & (-off > LEAST_WEAR_MM)
        if not beyond.any():
            unseen = (level + 1.0) / COVERS * float(u.max())
            return Measured.of(0.0, 1000.0 * unseen), max(0.0, float((-off).max()))
        deepest = int(np.argmax(np.where(beyond, -off, -np.inf)))
        return Measured.of(-1000.0 * float(off[deepest]), 1000.0 * _crest_u(-off, u, deepest, hold)), None

    def _greatest(self, off: FloatArray, u: FloatArray, worst: int, hold: float) -> Measured:
        """The greatest difference in um; where it is not beyond what noise rises to, its interval reaches 0."""
        level = level_passed_by_noise(off.size * STEP_CAM_DEG, hold, 0.5 * CHANCE / self.lobes)
        value, own = float(off[worst]), float(u[worst])
        seen = abs(value) > level * own
        of_crest = _crest_u(np.sign(value) * off, u, worst, hold) if seen else level / COVERS * own
        return Measured.of(1000.0 * value, 1000.0 * of_crest)

    def _max_lift_change(self, name: str, other: str, zero_mm: float, zero_u_mm: float) -> Measured:
        """Greatest lift, mm, less a zero that was fitted."""
        (first, row), (last, there) = self.earlier.lobes[other], self.later.lobes[name]
        before = first.ask(LobeCharacteristics.max_lift)[row]
        after = last.ask(LobeCharacteristics.max_lift)[there]
        if before.value is None or after.value is None:
            return before if before.value is None else after
        stated = hypot(self.instruments.probe_mm, self.instruments.expansion * before.value)
        u = sqrt((before.u or 0.0) ** 2 + (after.u or 0.0) ** 2 + zero_u_mm**2 + stated**2)
        return Measured(after.value - before.value - zero_mm, u)

    def _lacks(self, name: str, other: str) -> str:
        return LACKS_ANGLE if other in self.earlier.without_angle or name in self.later.without_angle else ""


def _crest_u(off: FloatArray, u: FloatArray, top: int, hold: float) -> float:
    """Standard uncertainty of a greatest value, mm: on a plateau it stands above by the greatest of so many values.

    off, u: (n,), mm. hold: over which noise hangs together, cam deg.
    """
    plateau = STEP_CAM_DEG * float((off > off[top] - 2.0 * u).sum())
    count = np.maximum(np.array([plateau / (PLATEAU_LENGTHS * hold)]), 1.0)
    return float(u[top] * hypot(1.0, expected_greatest(count)[0]))


def _shaft_notes(found: Sequence[ComparedLobe]) -> Iterator[Note]:
    """How the whole shaft stands, and which lobe is furthest from that, where enough lobes say so."""
    shifts = {one.lobe: one.changes.shift.value for one in found if one.lobe == one.against}
    known = {lobe: value for lobe, value in shifts.items() if value is not None}
    if len(known) < FEWEST_LOBES:
        return
    common = float(np.median(list(known.values())))
    lobe = max(known, key=lambda name: abs(known[name] - common))
    off = f"{known[lobe] - common:+.3f}".replace("-", "−")
    text = Phrase(
        "the lobes stand {common} cam deg earlier in the later table (median); furthest from that is {lobe}, by {off}"
        if common < 0.0
        else "the lobes stand {common} cam deg later in the later table (median); furthest from that is {lobe}, by "
        "{off}",
        common=f"{abs(common):.3f}",
        lobe=lobe,
        off=off,
    )
    yield info("shift", text)


def _notes(found: Sequence[ComparedLobe], work: _Work) -> Iterator[Note]:
    """What the reader has to know of the comparison as a whole, then lobe by lobe."""
    same = [table.instrument for table in (work.earlier.table, work.later.table)]
    stated = [table.probe_uncertainty_mm for table in (work.earlier.table, work.later.table)]
    if same[0] is not None and same[0] == same[1]:
        yield info(
            "uncertainty",
            Phrase("both tables name one instrument, {same}: its calibration counts once", same=f"{same[0]!r}"),
        )
    if None in stated:
        yield info(
            "uncertainty", Phrase("no probe uncertainty is stated in both: only the readings' own scatter is counted")
        )
    yield from _shaft_notes(found)
    bare = [one.lobe for one in found if one.changes.shift.lacks]
    if bare:
        slopes = [
            work.earlier.profile(one.against).value(work.earlier.centre(one.against) + one.angle_cam_deg, 1)
            for one in found
        ]
        steepest = 1000.0 * max(float(np.abs(slope).max()) for slope in slopes)
        text = Phrase(
            "neither the encoder's nor the wheel's uncertainty is stated, and sweeps don't show it: shifts carry none "
            "of it; 0.1 cam deg is up to {steepest} µm on a flank",
            steepest=f"{0.1 * steepest:.0f}",
        )
        yield warning("angle", text)
    for one in found:
        off, lift = float(np.abs(one.difference_mm[one.worst])), float(one.before_mm.max())
        if off > ANOTHER_LOBE * lift:
            text = Phrase(
                "differs by {off} mm, more than a tenth of the lift: is it the same lobe, read in the same units?",
                off=f"{off:.3f}",
            )
            yield warning(one.lobe, text)
    unseen = [listed((one.lobe, f"{1000.0 * one.unseen_mm:.1f} µm"), " ") for one in found if one.unseen_mm]
    if unseen:
        text = Phrase(
            "not beyond what the noise of both rises to, so that no wear is stated: 0, with u for what may be unseen"
        )
        yield info("wear", Phrase("greatest loss of {names}: {text}", names=listed(unseen), text=text))
    for one in found:
        if work.earlier.circle_zero(one.against) is None or work.later.circle_zero(one.lobe) is None:
            yield info(
                Phrase("{lobe} zero", lobe=one.lobe), Phrase("a table shows no base circle: the zero is the best fit's")
            )
