"""The checked program: the frozen data that everything else reads."""
