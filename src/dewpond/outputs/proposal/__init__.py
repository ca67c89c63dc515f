"""The proposal: one page that the client, the contractor and the funder read."""

from dewpond.outputs.proposal.page import proposal_html

__all__ = ["proposal_html"]
