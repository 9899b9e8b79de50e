"""Reads concerns.json: which caution concerns which figure."""

import json
import os

with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "concerns.json")) as f:
    TABLE = json.load(f)


def figures(names):
    """The figures that a row's names stand for, from the left: a group's, or one, or taken away."""
    out = set()
    for name in names:
        plain = name.lstrip("-")
        named = figures(TABLE["groups"][plain]) if plain in TABLE["groups"] else {plain}
        out = out - named if name.startswith("-") else out | named
    return out


CONCERNS = {code: figures(row["figures"]) for code, row in TABLE["cautions"].items()}


def concerns(code, key):
    """Whether the caution concerns the figure; one that the table lacks concerns none."""
    return key in CONCERNS.get(code, set())
