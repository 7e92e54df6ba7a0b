# Every check and figure of this project, one target each. Needs Rust and make; what else a target needs it fetches.
#   make demo                             reads the recordings in test-audio and prints their charts
#   make test                             all tests, live capture through a real sound server included
#   make publish-check                    writes every format and has it read back: MIDI, MusicXML, captions, the page in a browser; PICTURES=DIR keeps what it looks like
#   make eval                             reads the labelled corpora, prints the scoring tables, fails where a figure is worse than
#                                         training/baseline.tsv; CORPUS=DIR reads that one alone, RAISE=1 writes what has become better
#   make eval-drills                      how the drills of the labelled corpus are marked: CORPUS=
#   make fuzz                             feeds every reader of what comes from outside with changed inputs: SECONDS= a target, TARGET=, SEED=
#   make bench                            speed on one core and peak memory
#   make bench-live                       from the strike to the screen through a sound server, then 30 minutes of running: CORPUS=, CLIPS=, MINUTES=
#   make package                          a Debian package, a tar.gz and their checksums in target/packages; make package-check installs them in clean roots
#   make archive-check                    runs the recipes of examples/archive: GNU parallel, Slurm's script, Dask, Ray, DuckDB
#   make soak                             capture at many times real time: HOURS=
#   make cross-check                      type-checks for other systems whose standard library is installed
#   make lint, make doc, make setup, make test-audio

SHELL := bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help
.DELETE_ON_ERROR:

# `make PROFILE=dev eval` reuses what `make test` has built.
PROFILE ?= release
# `make FEATURES=--no-default-features demo` leaves live capture out and links no sound library.
FEATURES ?=
CORPUS ?= ../shared/corpus
# What `make eval` reads: all of these that are there, or the corpus that was named.
CORPORA = $(if $(filter file,$(origin CORPUS)),$(addprefix ../shared/,corpus corpus_played corpus_jazz real),$(CORPUS))
SCORER ?=
RAISE ?=
# Folders of single notes, rooms and voices, to render the test recordings anew.
SOURCES ?= ../shared

TARGET_DIR := $(or $(CARGO_TARGET_DIR),target)
LIDPROP := $(TARGET_DIR)/$(if $(filter dev,$(PROFILE)),debug,$(PROFILE))/lidprop
ESTIMATES := $(TARGET_DIR)/eval
# The benchmarks run on one core where the system can hold them there.
ONE_CORE := $(if $(shell command -v taskset),taskset -c 0,)

.PHONY: help demo test publish-check eval eval-drills bench bench-live fuzz lint doc setup build test-audio setup-build setup-live \
	package package-check archive-check soak cross-check

help:
	@sed -n 's/^#   //p' Makefile

setup-build:
	@.ci/setup build $(FEATURES)

setup-live:
	@.ci/setup live

setup: setup-build setup-live .venv/ready

# With the tests' dependencies some libraries get other features. Building all targets in the dev profile, as
# `make test` does, finds everything built already.
build: setup-build
	cargo build --locked --profile $(PROFILE) $(if $(filter dev,$(PROFILE)),--all-targets) $(FEATURES)

demo: build
	$(LIDPROP) take test-audio/*.flac

test: setup-build setup-live
	cargo test --locked --all-targets $(FEATURES)
	cargo test --locked --doc $(FEATURES)

# Independent readers of what lidprop writes, with pinned versions, and where they lie.
READERS := $(TARGET_DIR)/publish-readers
WRITTEN := $(TARGET_DIR)/publish-check
READ_BACK := test-audio/borrowed-dominants.flac test-audio/rolled-ballad.flac test-audio/held-chords.flac
PICTURES ?=
IN_BROWSER = PUBLISH_MODULES=$(abspath $(READERS)) $(READERS)/python/bin/node
BROWSER ?= $(or $(shell command -v chromium),$(shell command -v google-chrome))

$(READERS)/ready: tests/publish/requirements.txt tests/publish/package.json tests/publish/package-lock.json
	mkdir -p $(READERS)
	python3 -m venv --clear $(READERS)/python
	$(READERS)/python/bin/pip install --quiet --disable-pip-version-check --no-deps --requirement tests/publish/requirements.txt
	cp tests/publish/package.json tests/publish/package-lock.json $(READERS)
	$(READERS)/python/bin/npm ci --prefix $(READERS) --omit=optional --ignore-scripts --silent --no-audit --no-fund
	touch $@

publish-check: build
	@.ci/setup publish
	@if { [ -n "$(BROWSER)" ] || command -v chromium >/dev/null; } && $(MAKE) --no-print-directory $(READERS)/ready; then \
		$(MAKE) --no-print-directory read-back; \
	elif [ "$${CI:-}" = true ]; then echo "publish-check: the readers are missing" >&2; exit 1; \
	else echo "publish-check: SKIPPED, the readers are missing"; fi

.PHONY: read-back
read-back:
	rm -rf $(WRITTEN)
	mkdir -p $(WRITTEN) $(PICTURES)
	$(READERS)/python/bin/python tests/publish/check.py --lidprop $(LIDPROP) --into $(WRITTEN) $(READ_BACK)
	$(LIDPROP) take --write page --listen-first test-audio/rolled-ballad.flac > $(WRITTEN)/covered.html
	$(LIDPROP) take --write page --without-sound test-audio/borrowed-dominants.flac > $(WRITTEN)/silent.html
	$(LIDPROP) take --write page test-audio/before-class.flac > $(WRITTEN)/no-chord.html
	$(LIDPROP) name "Ddim(maj7)" --in-all-keys --write page > $(WRITTEN)/sheet.html
	$(LIDPROP) name "| Dm7 | G13b9 | Cmaj7 |" --in-all-keys --write page > $(WRITTEN)/progression.html
	$(LIDPROP) take test-audio/borrowed-dominants.flac --against tests/publish/chart.txt --write page > $(WRITTEN)/comparison.html
	$(IN_BROWSER) tests/publish/page.mjs --browser $(BROWSER) --written $(WRITTEN) $(if $(PICTURES),--pictures $(PICTURES))
	$(IN_BROWSER) tests/publish/notation.mjs --browser $(BROWSER) --written $(WRITTEN) $(if $(PICTURES),--pictures $(PICTURES))

# The interpreter of its own, with pinned versions, that the scoring program needs.
.venv/ready: .ci/eval-requirements.txt
	@.ci/setup eval
	python3 -m venv --clear .venv
	.venv/bin/pip install --quiet --disable-pip-version-check --requirement $<
	touch $@

eval: build .venv/ready
	.venv/bin/python training/evaluate.py --lidprop $(LIDPROP) --into $(ESTIMATES) $(if $(SCORER),--scorer $(SCORER)) \
		$(if $(RAISE),--raise) $(if $(filter file,$(origin CORPUS)),,--must-exist) $(CORPORA)

eval-drills: build
	@if [ -f $(CORPUS)/truth.json ]; then rm -rf $(ESTIMATES)/drills; \
		python3 training/drill_bounds.py $(CORPUS) $(ESTIMATES)/drills --lidprop $(LIDPROP); \
	else echo "SKIPPED: there is no corpus at $(CORPUS)"; fi

bench: setup-build
	$(ONE_CORE) cargo bench --locked $(FEATURES)

# How long each reader is fed, which one alone, and where chance begins.
SECONDS ?= 20
TARGET ?=
SEED ?=

fuzz: setup-build
	cargo run --locked --profile $(PROFILE) $(FEATURES) --example fuzz -- --seconds $(SECONDS) $(if $(TARGET),--target $(TARGET)) $(if $(SEED),--seed $(SEED))

# How many held voicings of the corpus are played for the delays, and how long it then runs with every core busy.
CLIPS ?= 70
MINUTES ?= 30

bench-live: setup-build setup-live
	cargo bench --locked $(FEATURES) --bench live -- --corpus $(CORPUS) --clips $(CLIPS) --minutes $(MINUTES) \
		$(addprefix --played ,$(wildcard $(addprefix $(dir $(CORPUS)),corpus_played corpus_jazz)))

# Pages and completions are the same in every profile, so the one is taken that `make test` has built.
MANUAL := $(TARGET_DIR)/manual
PACKAGES := $(TARGET_DIR)/packages
SUITES ?= bookworm trixie

package: build
	rm -rf $(MANUAL) $(PACKAGES)
	cargo run --locked --example write_manual -- $(MANUAL)
	packaging/package $(LIDPROP) $(MANUAL) $(PACKAGES)

package-check: package
	packaging/check $(PACKAGES) $(TARGET_DIR)/roots $(SUITES)

ENGINES := $(TARGET_DIR)/archive-engines

$(ENGINES)/ready: examples/archive/requirements.txt
	python3 -m venv --clear $(ENGINES)
	$(ENGINES)/bin/pip install --quiet --disable-pip-version-check --no-deps --requirement $<
	touch $@

archive-check: build
	@.ci/setup archive
	@if $(MAKE) --no-print-directory $(ENGINES)/ready; then \
		PATH="$(abspath $(dir $(LIDPROP))):$$PATH" examples/archive/check.sh $(TARGET_DIR)/archive-check $(ENGINES)/bin/python; \
	elif [ "$${CI:-}" = true ]; then echo "archive-check: the engines are missing" >&2; exit 1; \
	else echo "archive-check: SKIPPED, the engines are missing"; fi

# Hours of capture, as the sound input counts them.
HOURS ?= 8

soak: setup-build
	SOAK_HOURS=$(HOURS) cargo test --locked --test soak -- --nocapture

CROSS_TARGETS ?= aarch64-unknown-linux-gnu x86_64-pc-windows-gnu aarch64-apple-darwin

# SQLite is compiled from its source, so each target needs a C compiler too.
cross-check: setup-build
	@for target in $(CROSS_TARGETS); do \
		if [ -d "$$(rustc --print sysroot)/lib/rustlib/$$target" ]; then cargo check --locked --target $$target; \
		else echo "cross-check: $$target SKIPPED, its standard library is missing (rustup target add $$target)"; fi; \
	done

lint: setup-build
	cargo fmt --check
	cargo clippy --locked --all-targets -- -D warnings
	cargo clippy --locked --no-default-features -- -D warnings
	RUSTDOCFLAGS="-D warnings" cargo doc --locked --no-deps
	@if command -v cargo-deny >/dev/null; then cargo deny --offline check bans licenses sources; \
	else echo "lint: cargo-deny is not installed; tests/dependencies.rs holds the rules of deny.toml"; fi

doc: setup-build
	cargo doc --locked --no-deps

test-audio: setup-build
	cargo run --locked --release $(FEATURES) --example render_test_audio -- \
		--pianos $(SOURCES)/pianos --rooms $(SOURCES)/rooms --voices $(SOURCES)/voices --into test-audio
