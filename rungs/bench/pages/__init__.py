"""What stands on the bench, as lines of toned text; no screen library in here."""
