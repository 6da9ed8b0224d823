"""Lengths, outlines and corallites, each with its uncertainty budget."""
