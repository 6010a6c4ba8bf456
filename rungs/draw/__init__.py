"""The ladder as a drawing: placement first, then painters that turn it into text."""
