#!/usr/bin/env python3
"""Prints which libraries the program contains, and the texts of their licences, each text once.

Input: `cargo metadata` and the sources that cargo has fetched. Output: text on standard output. Needs Python 3.9 and cargo.
Limits: the libraries of this machine's target and of the default features.
"""
import json
import subprocess
from pathlib import Path

WORDS = ("LICENSE", "LICENCE", "COPYING", "NOTICE", "COPYRIGHT", "UNLICENSE")


def contained() -> set[str]:
    """The libraries that are linked: no build scripts' and no tests' ones."""
    listed = subprocess.run(
        ["cargo", "tree", "--locked", "--edges", "normal,no-proc-macro", "--prefix", "none", "--format", "{p}"],
        check=True, capture_output=True, text=True).stdout
    return {" ".join(line.split()[:2]) for line in listed.splitlines() if line}


def main() -> None:
    metadata = json.loads(subprocess.run(
        ["cargo", "metadata", "--locked", "--format-version", "1"], check=True, capture_output=True, text=True).stdout)
    linked = contained()
    texts: dict[str, list[str]] = {}
    print("lidprop contains these libraries:\n")
    for package in sorted(metadata["packages"], key=lambda package: (package["name"], package["version"])):
        name = f"{package['name']} v{package['version']}"
        if name not in linked or package["source"] is None:
            continue
        print(f"{name}: {package['license'] or 'see its text below'}")
        folder = Path(package["manifest_path"]).parent
        for file in sorted(folder.iterdir()):
            if file.is_file() and file.name.upper().startswith(WORDS):
                texts.setdefault(file.read_text(encoding="utf-8", errors="replace").strip(), []).append(name)
    for text, names in texts.items():
        print(f"\n{'=' * 80}\nOf {', '.join(dict.fromkeys(names))}:\n\n{text}")


if __name__ == "__main__":
    main()
