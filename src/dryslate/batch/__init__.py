"""Runners of many independent jobs behind their port."""
