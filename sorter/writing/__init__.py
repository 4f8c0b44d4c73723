"""Plan to outcome: what a shoot's ledger holds."""
