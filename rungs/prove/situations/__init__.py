"""Every situation a panel can stand in, and what is asked of them all."""

from rungs.prove.situations.found import Situations, situations

__all__ = ["Situations", "situations"]
