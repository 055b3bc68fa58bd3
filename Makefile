# What each target does: `make help`.
SHELL := /bin/bash
.DELETE_ON_ERROR:
.PHONY: help demo test test-mic browser tables archive check bench fuzz fuzz-build docs man man-pages schema install fmt snapshots

PREFIX ?= $(HOME)/.local
# Features that the tests are compiled with. CI sets `mic`, so that nothing is compiled twice.
FEATURES ?=
TEST := cargo test --locked --features '$(FEATURES)'
# Seconds for each fuzz target.
FUZZ_SECONDS ?= 60
NOTE := target/release/engine-note
# Profile that the demo is built in; CI says another. Whatever the environment calls so is not meant.
PROFILE := release
DEMO := fixtures/demo

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "make %-11s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

demo: ## install what is missing, build, read a shipped clip
	@command -v cargo >/dev/null || { echo 'cargo is missing: install Rust 1.89 or later, then run `make demo` again' >&2; exit 1; }
	@.ci/need cc
	cargo build --profile $(PROFILE) --locked
	@echo
	target/$(PROFILE:dev=debug)/engine-note read $(DEMO)/trimmer-rich.wav --machine $(DEMO)/trimmer.toml

# The examples hold no tests; `make check` compiles them.
test: ## run every test
	@.ci/need cc
	$(TEST) --lib --bins --tests
	$(TEST) --doc

test-mic: ## the tests at a virtual microphone, on a sound server of their own
	@.ci/need cc alsa pulse
	cargo test --locked --features mic --lib --test microphone -- --test-threads 4

browser: ## look at job sheets in a real browser (SHOTS=folder keeps screenshots)
	@.ci/need cc chromium node
	$(TEST) --test sheet
	cd tests/browser && npm ci --loglevel=error --no-audit --no-fund
	node tests/browser/look.mjs target/tmp/sheets $(SHOTS)

# DuckDB, pandas and Dask at the versions that the tests were written for.
PYTHON := target/python/bin/python
$(PYTHON): tests/tables/requirements.txt
	@.ci/need python
	python3 -m venv --clear target/python
	$(PYTHON) -m pip install --quiet --disable-pip-version-check -r $<
	@touch $@

tables: $(PYTHON) ## load tables in DuckDB and pandas, and run what docs/tables.md shows
	@.ci/need cc
	$(TEST) --test tables
	$(PYTHON) tests/tables/check.py target/tmp/tables

# The program as the tests have it: `cargo build` would compile half of the crates once more, without
# what the tests ask of them.
archive: $(PYTHON) ## run the recipe of docs/archive.md on two workers, one of them killed
	@.ci/need cc
	$(TEST) --test tables --no-run
	$(PYTHON) tests/tables/archive.py target/debug/engine-note target/tmp/archive

check: ## clippy with warnings denied, with the microphone and, where that makes a difference, without
	@.ci/need cc alsa
	cargo clippy --locked --all-targets --features mic -- -D warnings
	cargo clippy --locked --lib --bins --test listen -- -D warnings

fmt: ## format the sources
	cargo fmt

snapshots: ## show what the words of the program would change, and accept it
	INSTA_UPDATE=always cargo test --locked --test cli --test report
	git diff --stat -- tests

bench: ## time the stages
	@.ci/need cc
	cargo bench --locked

# Coverage-guided fuzzing on the stable compiler: the coverage pass is asked for by hand, so that
# neither a nightly compiler nor a further tool has to be installed.
FUZZ_FLAGS := --cfg fuzzing -Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 \
  -Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table \
  -Cllvm-args=-sanitizer-coverage-trace-compares -Coverflow-checks=on -Cdebug-assertions=on
TARGET = $(shell rustc -vV | sed -n 's/^host: //p')

fuzz-build: ## compile the fuzz targets
	@.ci/need cc c++
	RUSTFLAGS='$(FUZZ_FLAGS)' cargo build --locked --release --manifest-path fuzz/Cargo.toml --target $(TARGET)

fuzz: fuzz-build ## run each fuzz target for FUZZ_SECONDS
	@set -e; for source in fuzz/fuzz_targets/*.rs; do \
	  name=$$(basename $$source .rs); seeds=fuzz/seeds/$$name; [ -d $$seeds ] || seeds=fixtures/formats; \
	  mkdir -p fuzz/corpus/$$name fuzz/artifacts/$$name; echo "== $$name"; \
	  fuzz/target/$(TARGET)/release/$$name -max_total_time=$(FUZZ_SECONDS) -rss_limit_mb=1024 -timeout=20 -verbosity=0 \
	    -print_final_stats=1 -artifact_prefix=fuzz/artifacts/$$name/ fuzz/corpus/$$name $$seeds; done

docs: ## the library's documentation, warnings denied
	RUSTDOCFLAGS='-D warnings' cargo doc --locked --no-deps
	@echo 'open target/doc/engine_note/index.html'

schema: ## write the schemas in docs anew from the types
	cargo run --locked --quiet -- schema > target/reading.schema.json
	mv target/reading.schema.json docs/reading.schema.json
	cargo run --locked --quiet -- schema --events > target/events.schema.json
	mv target/events.schema.json docs/events.schema.json
	cargo run --locked --quiet -- schema --summary > target/summary.schema.json
	mv target/summary.schema.json docs/summary.schema.json

man: ## man pages into target/man
	cargo build --release --locked
	@$(MAKE) --no-print-directory man-pages INTO=target/man
	@ls target/man

# A page for the program and for each of its commands, into the folder INTO.
man-pages:
	@mkdir -p $(INTO)
	$(NOTE) man > $(INTO)/engine-note.1
	@for c in read listen tune synth check machine 'machine new' 'machine show' 'machine check' book 'book add' 'book list' \
	  'book show' 'book export' 'book import' sheet procedure practice schema completions man; do \
	  $(NOTE) man $$c > $(INTO)/engine-note-$${c// /-}.1; done

install: ## build with the microphone and install program, man pages and completions under PREFIX
	@.ci/need cc alsa
	cargo build --release --locked --features mic
	install -Dm755 $(NOTE) $(PREFIX)/bin/engine-note
	@mkdir -p $(PREFIX)/share/bash-completion/completions \
	  $(PREFIX)/share/zsh/site-functions $(PREFIX)/share/fish/vendor_completions.d
	@$(MAKE) --no-print-directory man-pages INTO=$(PREFIX)/share/man/man1
	$(NOTE) completions bash > $(PREFIX)/share/bash-completion/completions/engine-note
	$(NOTE) completions zsh > $(PREFIX)/share/zsh/site-functions/_engine-note
	$(NOTE) completions fish > $(PREFIX)/share/fish/vendor_completions.d/engine-note.fish
	@case ":$$PATH:" in *":$(PREFIX)/bin:"*) ;; *) echo 'add $(PREFIX)/bin to PATH to run `engine-note`' ;; esac
