"""The local page; it computes nothing itself."""
