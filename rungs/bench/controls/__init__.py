"""What the keys of the bench do, by subject; each command belongs to an id of the table of keys."""
