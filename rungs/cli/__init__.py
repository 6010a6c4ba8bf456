"""The command line: one small file a verb, and nothing that a function elsewhere does not do."""
