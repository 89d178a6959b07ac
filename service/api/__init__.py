"""The HTTP API: routes, their models, and what every answer of it has in common."""
