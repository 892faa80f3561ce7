"""Which photo of a later day shows the place of an earlier one: proposals that a person confirms."""

from triage.places.propose import Proposal, propose_places

__all__ = ["Proposal", "propose_places"]
