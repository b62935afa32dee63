"""Arms and linkages: rockers, moments, sizes, arms swung by motors."""
