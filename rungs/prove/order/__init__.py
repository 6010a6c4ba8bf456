"""Does it matter which of two rungs stands above the other? Asked of every two that meet.

The program as it is runs beside one in which the lower rung stands directly above the upper one:
the same switches, the same clocks, each with its own relays and timers. Most pairs are decided by
what the rungs from the one to the other leave behind, so a whole program is lowered once and not
for every pair; only what is left is searched, and only in the part of the panel it can reach.
"""

from rungs.prove.order.compare import Order, Orders, orders
from rungs.prove.order.links import moved_above

__all__ = ["Order", "Orders", "moved_above", "orders"]
