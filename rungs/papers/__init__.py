"""Papers of a panel as data, and as text, Markdown, CSV and pages."""
