"""From a log of samples and treatments to what a fit of kinetics needs: hydrogen readings by treatment."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from castq.melt.evidence import evidence_of
from castq.melt.fit import FitResult, Run, fit_kinetics
from castq.melt.types import Sample, Treatment

# A sample belongs to a treatment when it was taken this long before its start or after its end.
BEFORE_MIN = 60.0
AFTER_MIN = 20.0
Key = tuple[str, str]


def runs_of(samples: Sequence[Sample], treatments: Sequence[Treatment]) -> dict[Key, list[Run]]:
    """Return the treatments whose hydrogen was read at two times or more, by furnace and rotor.

    Parameters
    ----------
    samples : sequence of Sample
        Samples; those without a hydrogen reading are passed over, as an equivalent would carry its own error along.
    treatments : sequence of Treatment
        Treatments.

    Returns
    -------
    dict of (furnace, rotor) to list of Run
        The last sample before a treatment counts at its start, the first one after it at its end.
    """
    read: dict[str, list[Sample]] = defaultdict(list)
    for sample in sorted(samples, key=lambda sample: sample.taken_at):
        if sample.readings:
            read[sample.furnace].append(sample)
    worked: dict[str, list[Treatment]] = defaultdict(list)
    for treatment in sorted(treatments, key=lambda treatment: treatment.started_at):
        worked[treatment.furnace].append(treatment)
    runs: dict[Key, list[Run]] = defaultdict(list)
    for furnace, several in worked.items():
        for before, treatment, after in zip([None, *several], several, [*several[1:], None], strict=False):
            own = _own(treatment, read[furnace], before, after)
            if len(own) > 1:
                runs[furnace, treatment.rotor].append(_run(treatment, own))
    return dict(runs)


def fit_each(runs: Mapping[Key, Sequence[Run]], air_ml_100g: float | None = None) -> dict[Key, FitResult]:
    """Return the fit of each furnace and rotor; see `fit_kinetics`.

    Parameters
    ----------
    runs : mapping of (furnace, rotor) to sequence of Run
        From `runs_of`.
    air_ml_100g : float or None
        Level that the melts go to under their air [ml/100g]; none for that of the default air.

    Returns
    -------
    dict of (furnace, rotor) to FitResult
        Named after furnace and rotor.
    """
    return {
        (furnace, rotor): fit_kinetics(
            several, air_ml_100g, name=f"{furnace} {rotor}".strip(), furnace=furnace, rotor=rotor
        )
        for (furnace, rotor), several in runs.items()
    }


def _own(
    treatment: Treatment, samples: Sequence[Sample], before: Treatment | None, after: Treatment | None
) -> dict[float, Sample]:
    """Return the samples of a treatment by their minute of degassing; neighbours end its reach."""
    start, end = treatment.started_at, _end(treatment)
    since = start - timedelta(minutes=BEFORE_MIN)
    until = end + timedelta(minutes=AFTER_MIN)
    since = since if before is None else max(since, _end(before))
    until = until if after is None else min(until, after.started_at)
    first = bisect_left(samples, since, key=_taken_at)
    near = samples[first : bisect_right(samples, until, key=_taken_at)]
    ahead = [sample for sample in near if sample.taken_at <= start]
    own = {0.0: ahead[-1]} if ahead else {}
    own |= {(s.taken_at - start).total_seconds() / 60.0: s for s in near if start < s.taken_at < end}
    last = next((sample for sample in near if sample.taken_at >= end), None)
    return own if last is None else own | {treatment.minutes: last}


def _taken_at(sample: Sample) -> datetime:
    return sample.taken_at


def _end(treatment: Treatment) -> datetime:
    return treatment.started_at + timedelta(minutes=treatment.minutes)


def _run(treatment: Treatment, own: Mapping[float, Sample]) -> Run:
    """Return the readings of a treatment, those of one sample averaged, on castq's scale of alloy factors."""
    evidence = evidence_of([[sample] for sample in own.values()])
    sigma = evidence.reading_sigma_ml_100g / evidence.readings**0.5
    name = f"{treatment.furnace} {treatment.started_at:%Y-%m-%d %H:%M}"
    return Run(name, tuple(own), tuple(evidence.reading_ml_100g.tolist()), tuple(sigma.tolist()))
