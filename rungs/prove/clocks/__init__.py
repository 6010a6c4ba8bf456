"""What the calendar lets the clocks of a program do, for proofs."""
