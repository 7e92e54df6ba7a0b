#!/usr/bin/env python3
"""Makes a Python wheel that carries the program: packaging/wheel.py FILES VERSION MACHINE INTO.

Input: a folder with lidprop, README.md and the licences. Output: a wheel in INTO, its name printed; `pip install` of it puts the program beside the interpreter.
Method: the binary distribution format of the Python packaging specifications (PEP 427). Times are those of SOURCE_DATE_EPOCH. Needs Python 3.9.
Limits: the tag says Linux and the machine; that a C library and libasound.so.2 are there it cannot ask for.
"""
import base64
import hashlib
import os
import sys
import time
import zipfile
from pathlib import Path


def main() -> None:
    folder, version, machine, into = Path(sys.argv[1]), *sys.argv[2:4], Path(sys.argv[4])
    name, tag = f"lidprop-{version}", f"py3-none-linux_{machine}"
    info = f"{name}.dist-info"
    metadata = (f"Metadata-Version: 2.1\nName: lidprop\nVersion: {version}\nSummary: Hears an acoustic piano: keys, chord names, what they stand for\n"
                "License: MIT OR Apache-2.0\nDescription-Content-Type: text/markdown\n\n")
    files = {
        f"{name}.data/scripts/lidprop": (folder / "lidprop").read_bytes(),
        f"{info}/METADATA": metadata.encode() + (folder / "README.md").read_bytes(),
        f"{info}/WHEEL": f"Wheel-Version: 1.0\nGenerator: lidprop {version}\nRoot-Is-Purelib: false\nTag: {tag}\n".encode(),
    }
    for text in ("LICENSE-APACHE", "LICENSE-MIT", "NOTICES.txt"):
        files[f"{info}/licenses/{text}"] = (folder / text).read_bytes()
    record = ""
    for path, content in files.items():
        digest = base64.urlsafe_b64encode(hashlib.sha256(content).digest()).decode().rstrip("=")
        record += f"{path},sha256={digest},{len(content)}\n"
    files[f"{info}/RECORD"] = f"{record}{info}/RECORD,,\n".encode()
    when = time.gmtime(int(os.environ["SOURCE_DATE_EPOCH"]))[:6]
    with zipfile.ZipFile(into / f"{name}-{tag}.whl", "w", zipfile.ZIP_DEFLATED, compresslevel=9) as wheel:
        for path, content in files.items():
            entry = zipfile.ZipInfo(path, when)
            entry.external_attr = (0o100755 if path.endswith("scripts/lidprop") else 0o100644) << 16
            wheel.writestr(entry, content, zipfile.ZIP_DEFLATED, 9)
    print(f"{name}-{tag}.whl")


if __name__ == "__main__":
    main()
