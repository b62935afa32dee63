"""What a stroke of an arm has in reserve, and what its bands store."""

import numpy as np

from fieldworthy.physics.arms.linkage import elastic_length


def elastic_energy(bands, cos_arm, sin_arm):
    """Half the stiffness times the stretch squared, of each band that is taut."""
    stretch = [np.maximum(elastic_length(b, cos_arm, sin_arm)[0] - b.free_length, 0.0) for b in bands]
    return sum(0.5 * b.count * b.stiffness * s**2 for b, s in zip(bands, stretch, strict=True))


def margin(use):
    """Available over demand, less 1, where it is least along the stroke."""
    return 1.0 / use.max(axis=0) - 1.0
