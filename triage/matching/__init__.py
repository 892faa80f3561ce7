"""Which photo of a later day shows the place of an earlier one: proposals that a person confirms."""

from triage.matching.propose import Proposal, propose_places

__all__ = ["Proposal", "propose_places"]
