"""Which targets, which train, which moment."""
