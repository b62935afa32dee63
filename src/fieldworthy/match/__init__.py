"""A plan in, timelines and score distributions out."""
