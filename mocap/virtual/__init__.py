"""Swings whose truth is known: invented hitters, the forces under them, and how instruments would record them."""
