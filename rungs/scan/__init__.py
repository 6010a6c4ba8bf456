"""What happens when the panel is under power: scans, clocks, scenarios, traces."""
