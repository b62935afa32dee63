"""Compare variants, find remedies and sensitivities, search over ranges."""
