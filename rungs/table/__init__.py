"""Programs as tables for boards that hold no program."""
