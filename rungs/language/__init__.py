"""Text to syntax tree and back: grammar, findings, formatter. Knows nothing of scans."""
