"""A table of the installed distributions' licences, as their own metadata tell them; exit code 1 where one is GPL.

Core metadata specifications 2.4 (packaging.python.org): `License-Expression` first, else the licence classifiers, else
what the text of its licence is.
"""

from __future__ import annotations

import re
import sys
from importlib.metadata import Distribution, distributions
from pathlib import Path

TOOLS = {"pip", "setuptools", "wheel"}
BY_TEXT = (
    (r"Redistribution and use in source and binary forms(?s:.*)Neither the name", "BSD-3-Clause"),
    (r"Redistribution and use in source and binary forms", "BSD-2-Clause"),
)
"""Licences that are told by their whole text (the Open Source Initiative's texts)."""


def licence(of: Distribution) -> str:
    """What a distribution says of its licence, in a few words."""
    said = of.metadata
    classifiers = [c.split(" :: ")[-1] for c in said.get_all("Classifier") or [] if c.startswith("License ::")]
    text = said.get("License") or ""
    whole = [text, *((file.locate().read_text(errors="replace")) for file in of.files or []
                     if Path(file).name.startswith(("LICENSE", "LICENCE")) and ".dist-info" in str(file))]  # fmt: skip
    told = said.get("License-Expression") or ", ".join(classifiers) or (text if len(text) < 60 else "")
    for pattern, name in BY_TEXT if not told else ():
        if any(re.search(pattern, each) for each in whole):
            return name
    return told or "not said"


def main() -> None:
    """Print the table."""
    rows = sorted((d.metadata["Name"], d.version, licence(d)) for d in distributions()
                  if d.metadata["Name"].lower() not in TOOLS)  # fmt: skip
    table = ["| library | version | licence |", "|---|---|---|", *("| " + " | ".join(row) + " |" for row in rows)]
    sys.stdout.write("\n".join(table) + "\n")
    copyleft = [name for name, _, said in rows if re.search(r"(?<!L)GPL|GNU General", said)]
    if copyleft:
        sys.exit(f"GPL: {', '.join(copyleft)}")


if __name__ == "__main__":
    main()
