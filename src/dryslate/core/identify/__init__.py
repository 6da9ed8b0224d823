"""Identification of corals to genus: characters, what genera show, and reasons for an answer."""
