"""The week as the clocks of a panel make it."""
