"""Arms and linkages: rockers, cranks, moments, sizes, arms swung by motors."""
