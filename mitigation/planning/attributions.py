"""What each source adds, from a trial: kept by the digest of what it rests on, or computed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256

import numpy as np

from mitigation.calc.attribution import Attribution, attribute
from mitigation.planning.items import generator
from mitigation.planning.sources import Sources
from mitigation.planning.trials import Parts, Trial, axes_of, parts_of


@dataclass(frozen=True)
class Fit:
    """What became of a trial; `attribution` is None where read-state-1 takes over.

    `names` are the folded names of the sources that are parts of the attribution. A pending one is
    still to be sampled: until then nothing is foretold from it.
    """

    attribution: Attribution | None
    names: tuple[str, ...]
    is_misfit: bool
    is_pending: bool = False


PENDING = Fit(None, (), is_misfit=False, is_pending=True)
"""What stands for a trial that a request does not sample by itself."""

# Gives what is kept under a digest, or None.
Kept = Callable[[str], Fit | None]
# Looks up what is kept of many trials at once.
LookUp = Callable[[Sequence[Trial], Sources], Kept]


def basis_digest(trial: Trial, sources: Sources) -> str:
    """The digest of the rows of a trial and of what is known of its sources."""
    digest = sha256(trial.digest.encode())
    parts = parts_of(trial, sources)
    if parts is not None:
        digest.update(f"{parts.names}{parts.phase.round(12).tolist()}{parts.on.tolist()}".encode())
    return digest.hexdigest()


def can_be_attributed(trial: Trial, sources: Sources) -> bool:
    """Whether the rule applies: phases known, axes read apart or one channel, something tried."""
    parts = parts_of(trial, sources)
    return parts is not None and bool(parts.names) and bool(axes_of(trial, parts))


def fit_of(trial: Trial, sources: Sources, kept: Kept) -> Fit:
    """The kept result of just these rows, else a new one; the same rows give the same draws."""
    parts = parts_of(trial, sources)
    if parts is None or not can_be_attributed(trial, sources):
        return Fit(None, (), is_misfit=False)
    digest = basis_digest(trial, sources)
    known = kept(digest)
    return known if known is not None else fitted(trial, parts, digest)


def fitted(trial: Trial, parts: Parts, digest: str) -> Fit:
    """The result of a trial, computed; its draws hang on the digest alone."""
    attribution = attribute(axes_of(trial, parts), generator(digest))
    if attribution is not None:  # as it is kept, so that what is computed anew is the same
        attribution = replace(
            attribution,
            parts=attribution.parts.astype(np.float32).astype(np.float64),
            outside=attribution.outside.astype(np.complex64).astype(np.complex128),
        )
    return Fit(attribution, parts.names, is_misfit=attribution is None)


def nothing_kept(digest: str) -> None:
    """Every trial is computed."""
