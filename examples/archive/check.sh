#!/bin/bash
# Runs every recipe of README.md beside this file on recordings of the project and compares what they give (`make archive-check`):
#   check.sh INTO PYTHON
# lidprop is on the PATH; PYTHON has the packages of requirements.txt. GNU parallel is left out with a word where it is missing.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
into=${1:?a folder for results} python=${2:?a Python with the engines}
python=$(realpath --no-symlinks "$python")
rm -rf "$into"
mkdir -p "$into/tapes/box 1" "$into/tapes/box 2"
cd "$into"
for name in borrowed-dominants held-chords phone-memo before-class; do
  cp "$here/../../test-audio/$name.flac" "tapes/box $((${#name} % 2 + 1))"
done
echo "a letter and no tape" > "tapes/box 1/letter.wav"
find tapes -type f | sort > tapes.txt

fail() { echo "archive-check: $*" >&2; exit 1; }
# Runs a recipe; one recording cannot be read, so that it must end with 1.
run() { local name=$1 code=0; shift; echo "== $name"; "$@" || code=$?; [ "$code" = 1 ] || fail "$name ended with $code"; }

mkdir hand
run "two processes by hand" bash -c '
  lidprop take --files-from tapes.txt --shard 1/2 --write jsonl --add-to hand/part-1.jsonl & first=$!
  lidprop take --files-from tapes.txt --shard 2/2 --write jsonl --add-to hand/part-2.jsonl; second=$?
  wait $first; exit $(($? | second))' < /dev/null

slurm() { local code=0; for task in 1 2 3; do SLURM_ARRAY_TASK_ID=$task bash "$here/part.slurm" tapes.txt slurm 3 || code=1; done; return $code; }
run "Slurm's array, task by task" slurm
run "Dask" "$python" "$here/with_dask.py" tapes.txt dask --parts 3
run "Ray" "$python" "$here/with_ray.py" tapes.txt ray --parts 3

with_parallel() {
  parallel --will-cite --arg-file tapes.txt --joblog tapes.log --resume-failed --jobs 2 \
    lidprop take --write json --into documents --keep-folders --skip-done -- {} || return 1
}
engines=(hand slurm dask ray)
if command -v parallel >/dev/null; then
  run "GNU parallel" with_parallel
  [ "$(wc -l < tapes.log)" = 6 ] || fail "the log of GNU parallel has a line for each recording"
  # One result is lost: what is done stays, what is missing comes again, by the log or by --skip-done.
  cp -r --preserve documents before
  rm tapes.log documents/tapes/*/phone-memo.json
  run "GNU parallel, again" with_parallel
  diff -r before documents || fail "documents are not the same after the second run"
  engines+=(documents)
else
  echo "archive-check: GNU parallel SKIPPED, it is missing"
fi

# A second run of each engine finds everything done.
for engine in slurm dask ray; do sha256sum $engine/*.jsonl; done > sums
run "Slurm, again" slurm
run "Dask, again" "$python" "$here/with_dask.py" tapes.txt dask --parts 3
run "Ray, again" "$python" "$here/with_ray.py" tapes.txt ray --parts 3
sha256sum --check --quiet sums || fail "a second run has changed lines"

"$python" - "${engines[@]}" <<'END'
"""Every engine has given the same documents."""
import json
import sys
from pathlib import Path

def given(engine):
    lines = [line for file in sorted(Path(engine).rglob("*.jsonl")) for line in file.read_text().splitlines()]
    lines += [file.read_text() for file in sorted(Path(engine).rglob("*.json"))]
    documents = [json.loads(line) for line in lines]
    read = {document["file"]: document for document in documents if "error" not in document}
    assert len(read) == 4 and len(documents) - len(read) == (engine != "documents"), engine
    return read

first, *others = sys.argv[1:]
for engine in others:
    assert given(engine) == given(first), engine
print("the same documents from", ", ".join(sys.argv[1:]))
END

echo "== DuckDB"
answers=$("$python" "$here/ask.py" ray "$here"/{to_parquet,diminished_major_sevenths,rootless_dominants,pitch_of_pianos}.sql)
echo "$answers"
grep -q $'borrowed-dominants.flac\t[0-9.]*\tFdim(maj7)\tFmaj7' <<< "$answers" || fail "Fdim(maj7) goes to Fmaj7 in bar 7"
grep -q $'^A7#9\tC#dim(maj7)\t' <<< "$answers" || fail "C#dim(maj7) stands for A7#9"
grep -q $'letter.wav\t\t\t.*letter.wav' <<< "$answers" || fail "the letter is told with its reason"
echo "archive-check: passed"
