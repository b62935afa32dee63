"""Tracking wheels and gyro: poses, their errors, and what corrects them."""
