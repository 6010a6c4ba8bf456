"""The widgets of the bench: each gets lines or data, and posts messages; none knows the panel."""
