"""Health over time: what normal moves say of wear."""
