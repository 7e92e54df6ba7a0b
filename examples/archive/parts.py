"""One part of a list of recordings, read by a process of lidprop: what the recipes for Dask and Ray hand out."""
import argparse
import subprocess
from pathlib import Path


def read_part(part: int, parts: int, recordings: str, into: str) -> tuple[int, int]:
    """Reads one part; gives its number and the exit code: 0 done, 1 where a recording could not be read (its line says why)."""
    command = ["lidprop", "take", "--files-from", recordings, "--shard", f"{part}/{parts}",
               "--write", "jsonl", "--add-to", f"{into}/part-{part}.jsonl", "--skip-done"]
    return part, subprocess.run(command, check=False).returncode


def asked() -> argparse.Namespace:
    """What the command line asks for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("recordings", help="a file with the names of recordings")
    parser.add_argument("into", help="a folder for the lines")
    parser.add_argument("--parts", type=int, default=100)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--cluster", help="the address of a running cluster; one on this machine is started without it")
    args = parser.parse_args()
    Path(args.into).mkdir(parents=True, exist_ok=True)
    return args


def tell(codes: list[tuple[int, int]]) -> int:
    """Says which parts have recordings that could not be read; gives the exit code."""
    failed = [part for part, code in codes if code != 0]
    print(f"{len(codes) - len(failed)} of {len(codes)} parts are done" + (f"; look at parts {failed}" if failed else ""))
    return 1 if failed else 0
