"""What workers do: one module for each kind of job, and the loop that leases, does and records."""
