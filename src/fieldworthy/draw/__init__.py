"""Results in, figures out; computes nothing and never sees a robot file."""
