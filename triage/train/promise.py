r"""The promise about the pile `unlikely`: jackknife-minmax conformal risk control over decks with the defect.

**Setting.** D_1..D_n are the eligible decks with the defect, D_{n+1} the next deck with the defect; given
everything else (decks without the defect, other labels) the n + 1 are exchangeable. Decks that share
look-alike photos are one deck (`triage.library.look_alikes`): a copy of a training deck is not new.

**Which decks are eligible.** Whether a deck counts must not depend on how hard it is, else the n + 1 are not
exchangeable. `triage.label.pools` takes the decks in pools. Let P be the decks that stood unanswered when a
machine's order first chose among them, and R in P the decks drawn by hashes at that moment, before the order
showed anything. (1) Decks answered before any machine's order chose among them were taken in an order that no
model made. (2) R is independent of P's photos and labels, so its decks are exchangeable with new ones; it
counts once all of R is answered, hence as the whole R or not at all, and which part of it is answered first
changes nothing. (3) All of P counts once all of P is answered: a set that the machine did not choose. Any
other part of P is what some order reached or left over, so its membership depends on the scores, and it never
counts. Leaving out decks for a label's unknown time or order is by the file that it came from, not by the
photo. What remains assumed: that people do not decide how far to go on by how hard the decks were.
 A is the whole way from labeled decks to a
score, tuning included, and is symmetric in its decks. Write s_{-ij} for the score of A without the decks i
and j, and

    L_{ij}(t) = share of the positive photos x of deck i with s_{-ij}(x) < t.

L is non-decreasing and left-continuous in t, and at most 1. From data we have the n models s_{-d,n+1} (each
leaves one deck out, none has seen the next deck) and choose

    t^ = sup { t : ( sum_{d=1..n} L_{d,n+1}(t) + 1 ) / (n + 1) <= alpha };

a photo goes to `unlikely` only if max_d s_{-d,n+1}(x) < t^. The loss of the next deck is the share of its
positive photos that do.

**Claim.** Its expectation is at most alpha.

**Proof.** (a) A positive photo is missed only if every model scores it below t^, so the loss is at most
m_{n+1}(t^), where m_i(t) = min_{j != i} L_{ij}(t). (b) Let t* = sup { t : (1/(n+1)) sum_{i=1..n+1} m_i(t)
<= alpha }. For i <= n, L_{i,n+1} >= m_i, and 1 >= m_{n+1}; so wherever the criterion for t^ is met, that
for t* is, hence t^ <= t*, and as m is non-decreasing the loss is at most m_{n+1}(t*). (c) L_{ij} hangs on
the models only through the pair {i, j} left out and A is symmetric, so permuting the n + 1 exchangeable
decks permutes the m_i and leaves t* as it is: E m_{n+1}(t*) = E (1/(n+1)) sum_i m_i(t*). (d) The m_i are
left-continuous, so the supremum is attained and that mean is at most alpha. QED.

This is conformal risk control (Angelopoulos, Bates, Fisch, Lei, Schuster, arXiv 2208.02814) in its
cross-validation form (Cohen, Park, Simeone, Shamai, arXiv 2401.11974) with one deck to a fold. The
1 that the criterion adds means that 1/alpha - 1 decks are needed: 9 for 10 %, 19 for 5 % and 49 for 2 %.

**What it is not.** It holds on average over decks, one tag at a time; it says nothing of several tags
together or of one deck. A photo answered `unclear` counts as answered and never as a positive one: the
promise is about photos that a person called `present`, not about defects too faint to be called. Decks
without the defect have no positive photo to miss: counting them as zero loss would divide the misses by
decks that cannot miss.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from triage.train.types import Promise

if TYPE_CHECKING:
    from triage.train.types import Floats


def decks_needed(miss_rate: float) -> int:
    """Eligible decks with the defect that a promise needs: the least n with 1/(n + 1) <= miss_rate."""
    return max(1, math.ceil(1 / miss_rate - 1 - 1e-9))


def threshold(positive_scores: Sequence[Floats], miss_rate: float) -> float | None:
    """The largest t with (sum of losses + 1)/(n + 1) <= miss_rate; None where there is none.

    positive_scores : per eligible deck, the scores of its positive photos by the model that left it out.
    """
    n = len(positive_scores)
    budget = miss_rate * (n + 1) - 1 + 1e-9
    if n == 0 or budget < 0:
        return None
    scores = np.concatenate(positive_scores)
    shares = np.concatenate([np.full(len(deck), 1 / len(deck)) for deck in positive_scores])
    order = np.argsort(scores, kind="stable")
    ordered = scores[order]
    below = np.concatenate([[0.0], np.cumsum(shares[order])])[np.searchsorted(ordered, ordered, side="left")]
    return float(ordered[below <= budget][-1])


def make_promise(positive_scores: Sequence[Floats], miss_rate: float) -> Promise:
    """The promise from the left-out scores of the eligible decks' positive photos."""
    n = len(positive_scores)
    missing = max(0, decks_needed(miss_rate) - n)
    if missing:
        return Promise(miss_rate, False, None, n, missing, too_few_decks(miss_rate, n, missing))
    return Promise(miss_rate, True, threshold(positive_scores, miss_rate), n, 0)


def too_few_decks(miss_rate: float, eligible: int, missing: int) -> str:
    """Why a promise cannot be made yet, and what is needed."""
    more = "deck" if missing == 1 else "decks"
    return (
        f"{missing} more {more} with the defect and every photo answered, drawn at random or in an order "
        f"that the machine did not choose: there are {eligible}, a miss rate of {miss_rate:.0%} needs "
        f"{decks_needed(miss_rate)}."
    )
