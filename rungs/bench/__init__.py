"""The terminal bench: a face that shows a session and passes on what the user does."""
