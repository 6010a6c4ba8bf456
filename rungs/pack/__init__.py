"""The handover pack: every paper of a panel in one page, a PDF, and what restores it."""
