"""Who asks: the command line, the engine behind it, and the store of finished searches."""
